// SPDX-License-Identifier: Apache-2.0
#pragma once
// What plans of one family of parts have in common, said once.

#include <string>
#include <string_view>

#include "base/result.h"
#include "daemon/cell/config/document.h"

namespace crestgate::cell {

inline constexpr std::string_view kFamilyKey = "family";

struct FamilyFile {
  std::string path;
  std::string text;
};

// Purpose  the file that `family` in a plan names; a relative path counts from the plan's folder.
// Shape    plan: a tree with kFamilyKey. source: the plan's path.
// Errors   one line at the plan's key: no text, the plan itself, no such file, no file, too large.
base::Result<FamilyFile> read_family_file(const Node& plan, const std::string& source);

struct WholePlan {
  Node tree;         // its nodes stand where they were written
  std::string text;  // the same as one document
};

// Purpose  the plan and its family as one plan (family_merge.h) that needs neither file any more.
// Method   a family holds what a plan can hold, except what says which plan it is: `name`, `stage` and a
//          `family` of its own. Each file states its own format. The text has comments at its head that name
//          both files with their SHA-256, and the key `made_of` with their names; it is read back and held
//          against the tree before it is given out.
// Errors   one line that names the file and the line where the wrong thing stands.
base::Result<WholePlan> make_whole_plan(const SourceText& plan, const SourceText& family);

}  // namespace crestgate::cell
