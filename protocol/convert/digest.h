// SPDX-License-Identifier: Apache-2.0
#pragma once
// SHA-256 of stored bytes, by which records cite each other.

#include <cstddef>
#include <span>

#include "base/digest.h"

namespace crestgate::protocol {

// Method  SHA-256 (FIPS 180-4), computed by OpenSSL.
[[nodiscard]] base::Digest digest_of(std::span<const std::byte> bytes);

}  // namespace crestgate::protocol
