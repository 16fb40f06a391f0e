// SPDX-License-Identifier: Apache-2.0
#pragma once
// A tree as TOML.

#include <string>

#include "daemon/cell/config/document.h"

namespace crestgate::cell {

// Purpose  a text that parse_document reads back as the same content (same_content). Lists of tables in the
//          root, and lists of tables in those, stand under [[headers]]; every other table stands in braces
//          behind its key. Numbers are the shortest that read back as themselves.
// Method   deterministic: the order of the tree, but lists under headers after the other members of their
//          table, since TOML counts what follows a header to that header.
// Pre      the root is a Table; texts and keys are UTF-8, no key stands twice in a table.
// Source   TOML 1.0.0.
std::string toml_text(const Node& root);

}  // namespace crestgate::cell
