// SPDX-License-Identifier: Apache-2.0
#pragma once
// Inside of protocol/ledger: which segments a ledger has and what their headers say.

#include <cstdint>
#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <vector>

#include "base/result.h"
#include "protocol/ledger/entry.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_format.h"

namespace crestgate::protocol {

struct SegmentInfo {
  std::uint32_t segment = 0;
  std::filesystem::path path;
  std::optional<SegmentHeader> header = std::nullopt;  // absent: damaged
  LedgerId ledger_id{};                                // under which its entries are read
  bool id_is_certain = false;  // false: taken from a damaged header, with no other segment to compare
  std::string problem = {};    // of the header; empty: none
  bool foreign = false;        // its header names another ledger or another segment: not read
};

// Errors  kNotSupported: a newer version. kCorruptFile: shorter than a header. Those of the file.
//         A damaged header is not an error: `header` is absent and `problem` says why.
base::Result<SegmentInfo> read_segment_info(FileSystem& files, const std::filesystem::path& path);

// Purpose  all segments of a directory, in order, with what damaged headers lack filled in from the others.
// Errors   those of read_segment_info, with the path in front; but a file shorter than a header counts as
//          damaged if another segment tells the ledger's id.
base::Result<std::vector<SegmentInfo>> survey(FileSystem& files, const std::filesystem::path& directory);

// Damage that the headers alone show: what is wrong with them.
[[nodiscard]] std::optional<DamagedSpan> header_damage(const SegmentInfo& info, std::uint64_t size);

// Records that are missing before `next`, when `expected` should come; also a missing segment after
// `previous`.
[[nodiscard]] std::optional<DamagedSpan> gap_before(std::uint32_t previous,
                                                    std::optional<std::uint64_t> expected,
                                                    const SegmentInfo& next);

}  // namespace crestgate::protocol
