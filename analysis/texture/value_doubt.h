// SPDX-License-Identifier: Apache-2.0
#pragma once
// Why a number cannot be trusted, or not as far as it looks.

#include <cstdint>
#include <string_view>

namespace crestgate::analysis {

enum class ValueDoubt : std::uint32_t {
  kShortRunUp = 1U << 0U,       // R, W: less than the filter's reach before or after the evaluation length
  kNoSmoothing = 1U << 1U,      // gradients, curvatures, peaks: no S-filter, they grow with the noise
  kBridged = 1U << 2U,          // samples were missing and bridged by a straight line
  kSpikesRemoved = 1U << 3U,    // spikes were taken out because the settings ask for it
  kResampled = 1U << 4U,        // heights between the measured samples
  kNotConverged = 1U << 5U,     // the robust filter did not settle
  kStarved = 1U << 6U,          // the robust filter found no heights to hold on to somewhere
  kPulledByValleys = 1U << 7U,  // Rk, Rpq families: a linear mean line sags under the valleys
  kFewElements = 1U << 8U,      // the mean of a handful of profile elements
  kShortSections = 1U << 9U,    // W: a section is shorter than the waves in it
  kHiddenWaves = 1U << 10U,     // waves may hide in the roughness: ParameterValue::most says how high
  kBelowDrive = 1U << 11U,      // the drive itself writes waves of this height
  kSkewedTrace = 1U << 12U,     // a trace askew to the axis of the zone fakes as much
  kSkidded = 1U << 13U,         // a skid rides on the waves: it cannot see them
  kCoarseSpacing = 1U << 14U,   // the samples are further apart than the setting class allows
  kLargeTip = 1U << 15U,        // the tip is rounder than the setting class allows
};

inline constexpr std::uint32_t kValueDoubts = 16;

class DoubtSet {
 public:
  constexpr DoubtSet() = default;
  constexpr DoubtSet(ValueDoubt doubt) : bits_(static_cast<std::uint32_t>(doubt)) {}  // NOLINT: a set of one

  constexpr DoubtSet& operator|=(DoubtSet other) {
    bits_ |= other.bits_;
    return *this;
  }
  friend constexpr DoubtSet operator|(DoubtSet a, DoubtSet b) { return a |= b; }
  friend constexpr DoubtSet operator&(DoubtSet a, DoubtSet b) { return DoubtSet(a.bits_ & b.bits_); }
  friend constexpr bool operator==(DoubtSet, DoubtSet) = default;

  [[nodiscard]] constexpr bool empty() const { return bits_ == 0; }
  [[nodiscard]] constexpr bool has(ValueDoubt doubt) const {
    return (bits_ & static_cast<std::uint32_t>(doubt)) != 0;
  }

 private:
  explicit constexpr DoubtSet(std::uint32_t bits) : bits_(bits) {}
  std::uint32_t bits_ = 0;
};

constexpr DoubtSet operator|(ValueDoubt a, ValueDoubt b) { return DoubtSet(a) | DoubtSet(b); }

// A limit is not held against a number with one of these.
inline constexpr DoubtSet kForbiddingDoubts =
    ValueDoubt::kNotConverged | ValueDoubt::kStarved | ValueDoubt::kSkidded;

struct DoubtText {
  ValueDoubt doubt;
  std::string_view name;      // stable, for JSON
  std::string_view sentence;  // for people
};

const DoubtText& text_of(ValueDoubt doubt);

}  // namespace crestgate::analysis
