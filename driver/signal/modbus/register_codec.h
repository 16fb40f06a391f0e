// SPDX-License-Identifier: Apache-2.0
#pragma once
// The cell's state into its register block, and the PLC's block into its meaning. Pure.
//
// Source  protocol/registers/register_map.h

#include <array>
#include <cstdint>
#include <span>

#include "base/cell_signal.h"
#include "registers/register_map.h"

namespace crestgate::driver {

using CellBlock = std::array<std::uint16_t, registers::cell::kSize>;
using PlcBlock = std::array<std::uint16_t, registers::plc::kSize>;

// Without a valid result the verdict word and its three bits are zero, whatever `verdict` says. A number that
// is not there, not finite or too large for its registers reads as kNoValue.
[[nodiscard]] CellBlock encode_cell_block(const base::CellSignal& signal);

// Zero or empty means "not supplied" and becomes an absent optional. Any content is safe.
[[nodiscard]] base::PlcInputs decode_plc_block(const PlcBlock& block);

}  // namespace crestgate::driver
