// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger/crc32c.h"

#include <array>
#include <random>
#include <string_view>
#include <vector>

#include <gtest/gtest.h>

namespace crestgate::protocol {
namespace {

std::uint32_t crc_of(std::string_view text) { return crc32c(std::as_bytes(std::span(text))); }

// One bit at a time, from the polynomial alone.
std::uint32_t slow_crc32c(std::span<const std::byte> bytes) {
  std::uint32_t crc = 0xFFFFFFFFU;
  for (const std::byte byte : bytes) {
    crc ^= std::to_integer<std::uint32_t>(byte);
    for (int bit = 0; bit < 8; ++bit) crc = (crc >> 1U) ^ ((crc & 1U) != 0 ? 0x82F63B78U : 0U);
  }
  return ~crc;
}

// Source: RFC 3720, appendix B.4 (given there as bytes, lowest first); "123456789" from the catalogue entry
// CRC-32/ISCSI, from memory.
TEST(Crc32c, HasThePublishedValues) {
  EXPECT_EQ(crc_of("123456789"), 0xE3069283U);
  EXPECT_EQ(crc_of(""), 0U);
  EXPECT_EQ(crc32c(std::vector<std::byte>(32)), 0x8A9136AAU);
  EXPECT_EQ(crc32c(std::vector<std::byte>(32, std::byte{0xFF})), 0x62A8AB43U);
  std::array<std::byte, 32> rising{};
  for (std::size_t i = 0; i < rising.size(); ++i) rising[i] = static_cast<std::byte>(i);
  EXPECT_EQ(crc32c(rising), 0x46DD794EU);
}

TEST(Crc32c, AgreesWithTheSlowOneAtEveryLengthAndSplit) {
  std::mt19937 random(1);
  std::vector<std::byte> bytes(300);
  for (std::byte& byte : bytes) byte = static_cast<std::byte>(random() & 0xFFU);
  for (std::size_t n = 0; n <= bytes.size(); ++n) {
    const auto part = std::span(bytes).first(n);
    const std::uint32_t expected = slow_crc32c(part);
    ASSERT_EQ(crc32c(part), expected) << n;
    ASSERT_EQ(crc32c(part.subspan(n / 3), crc32c(part.first(n / 3))), expected) << n;
  }
}

}  // namespace
}  // namespace crestgate::protocol
