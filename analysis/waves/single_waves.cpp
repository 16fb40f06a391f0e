// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/single_waves.h"

#include "base/expects.h"

namespace crestgate::analysis {
namespace {

// `sign`: 1 for a crest, -1 for a valley near this sample.
WaveCrest turning_point(std::span<const double> wave_um, std::size_t index, double spacing_mm, double sign) {
  while (index + 1 < wave_um.size() && sign * (wave_um[index + 1] - wave_um[index]) > 0.0) ++index;
  while (index > 0 && sign * (wave_um[index - 1] - wave_um[index]) > 0.0) --index;
  const double here = wave_um[index];
  WaveCrest point{.at_mm = static_cast<double>(index) * spacing_mm, .height_um = here};
  if (index == 0 || index + 1 == wave_um.size()) return point;
  const double rise = here - wave_um[index - 1];
  const double fall = here - wave_um[index + 1];
  const double bend = rise + fall;
  if (bend == 0.0) return point;
  const double offset = 0.5 * (rise - fall) / bend;
  point.at_mm += offset * spacing_mm;
  point.height_um += 0.25 * (rise - fall) * offset;
  return point;
}

// Puts crests and valleys, as they are passed, together to waves.
class Collector {
 public:
  explicit Collector(SingleWaves& found) : found_(found) {
    found_.crest_count = 0;
    found_.wave_count = 0;
  }

  void crest(const WaveCrest& crest) {
    if (found_.crest_count < SingleWaves::kCapacity) found_.crest_list[found_.crest_count] = crest;
    ++found_.crest_count;
    crest_ = crest;
  }

  void valley(const WaveCrest& valley) {
    if (has_valley_) {
      if (found_.wave_count < SingleWaves::kCapacity) {
        found_.wave_list[found_.wave_count] = {
            .start_mm = valley_.at_mm,
            .crest_mm = crest_.at_mm,
            .end_mm = valley.at_mm,
            .height_um = crest_.height_um - 0.5 * (valley_.height_um + valley.height_um),
            .spacing_mm = valley.at_mm - valley_.at_mm};
      }
      ++found_.wave_count;
    }
    valley_ = valley;
    has_valley_ = true;
  }

 private:
  SingleWaves& found_;
  WaveCrest crest_;
  WaveCrest valley_;
  bool has_valley_ = false;
};

}  // namespace

void find_single_waves(std::span<const double> wave_um, const SingleWaveOptions& options,
                       SingleWaves& found) {
  CRESTGATE_EXPECTS(options.least_swing_um > 0.0 && options.stride >= 1);
  Collector collector(found);
  enum class Way { kUnknown, kRising, kFalling };
  Way way = Way::kUnknown;
  std::size_t highest = 0;  // since the last valley
  std::size_t lowest = 0;   // since the last crest
  for (std::size_t i = 0; i < wave_um.size(); i += options.stride) {
    if (wave_um[i] > wave_um[highest]) highest = i;
    if (wave_um[i] < wave_um[lowest]) lowest = i;
    if (way != Way::kFalling && wave_um[highest] - wave_um[i] >= options.least_swing_um) {
      // Without a rise before it, it is the end of the face.
      if (way == Way::kRising) collector.crest(turning_point(wave_um, highest, options.spacing_mm, 1.0));
      way = Way::kFalling;
      lowest = i;
    } else if (way != Way::kRising && wave_um[i] - wave_um[lowest] >= options.least_swing_um) {
      if (way == Way::kFalling) collector.valley(turning_point(wave_um, lowest, options.spacing_mm, -1.0));
      way = Way::kRising;
      highest = i;
    }
  }
}

}  // namespace crestgate::analysis
