// SPDX-License-Identifier: Apache-2.0
#pragma once
// Groups of parameters that are computed together.

#include <cstdint>
#include <initializer_list>

namespace crestgate::analysis {

enum class ParameterFamily : std::uint32_t {
  kHeights = 1,        // Ra Rq Rsk Rku Rpt Rvt Rt
  kSections = 2,       // Rp Rv Rz Rzx
  kSpatial = 4,        // Ral Rsw
  kHybrid = 8,         // Rdq Rda Rdt Rdl Rdr
  kElements = 16,      // Rsm Rsmx Rsmq Rc Rcx Rcq Rpc
  kFeatures = 32,      // Rpd Rvd Rmpc Rmvc R5p R5v R10z
  kCurve = 64,         // Rk Rpk Rvk ..., and the sorted heights for Rmr Rmc Rdc
  kProbability = 128,  // Rpq Rvq Rmq
  kVolumes = 256,      // Rvmp Rvmc Rvvc Rvvv
};

class FamilySet {
 public:
  constexpr FamilySet() = default;
  constexpr FamilySet(std::initializer_list<ParameterFamily> families) {
    for (const ParameterFamily family : families) add(family);
  }
  static constexpr FamilySet all() {
    FamilySet set;
    set.bits_ = kAllBits;
    return set;
  }

  constexpr void add(ParameterFamily family) { bits_ |= static_cast<std::uint32_t>(family); }
  [[nodiscard]] constexpr bool has(ParameterFamily family) const {
    return (bits_ & static_cast<std::uint32_t>(family)) != 0;
  }
  [[nodiscard]] constexpr bool has_any_of(FamilySet other) const { return (bits_ & other.bits_) != 0; }
  [[nodiscard]] constexpr bool has_all_of(FamilySet other) const {
    return (bits_ & other.bits_) == other.bits_;
  }
  [[nodiscard]] constexpr bool is_empty() const { return bits_ == 0; }
  friend constexpr FamilySet operator|(FamilySet a, FamilySet b) {
    a.bits_ |= b.bits_;
    return a;
  }
  friend constexpr bool operator==(FamilySet, FamilySet) = default;

 private:
  static constexpr std::uint32_t kAllBits = 511;
  std::uint32_t bits_ = 0;
};

}  // namespace crestgate::analysis
