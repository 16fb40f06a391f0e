// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/digest.h"

#include <string_view>

#include <gtest/gtest.h>

namespace crestgate::protocol {
namespace {

std::string hex_of(std::string_view text) { return to_hex(digest_of(std::as_bytes(std::span(text)))); }

// Source: NIST, "Examples with Intermediate Values", SHA-256, one-block and two-block messages; the empty
// message from NIST's CAVP short-message vectors.
TEST(Digest, IsSha256) {
  EXPECT_EQ(hex_of("abc"), "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
  EXPECT_EQ(hex_of("abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq"),
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
  EXPECT_EQ(hex_of(""), "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
}

}  // namespace
}  // namespace crestgate::protocol
