// SPDX-License-Identifier: Apache-2.0
#pragma once
// What is said about the waves of one face.

#include <algorithm>
#include <array>
#include <cstddef>
#include <span>

#include "analysis/waves/wave_set.h"

namespace crestgate::analysis {

// A sinusoid that stands out of the face's own roughness. Positions count from the trace's first sample.
struct WaveComponent {
  double spacing_mm = 0.0;      // its wavelength
  double height_um = 0.0;       // peak to valley: twice its amplitude
  double first_crest_mm = 0.0;  // 0 <= first_crest_mm < spacing_mm
  bool in_band = false;         // only these are waves of the face; the others were taken out beside them
};

// A crest of the wave profile. Height above the profile's zero line, from which form is taken off.
struct WaveCrest {
  double at_mm = 0.0;
  double height_um = 0.0;
};

// One wave of the wave profile, from a valley over a crest to the next valley.
struct SingleWave {
  double start_mm = 0.0;  // the valley before
  double crest_mm = 0.0;
  double end_mm = 0.0;      // the valley after
  double height_um = 0.0;   // crest above the mean of the two valleys
  double spacing_mm = 0.0;  // valley to valley
};

// Crests and whole waves of one wave profile, in order of place. Beyond the capacity they are only counted.
struct SingleWaves {
  static constexpr std::size_t kCapacity = 64;
  std::size_t crest_count = 0;
  std::size_t wave_count = 0;  // whole ones, valley to valley
  std::array<WaveCrest, kCapacity> crest_list{};
  std::array<SingleWave, kCapacity> wave_list{};

  [[nodiscard]] std::span<const WaveCrest> crests() const {
    return std::span(crest_list).first(std::min(crest_count, kCapacity));
  }
  [[nodiscard]] std::span<const SingleWave> waves() const {
    return std::span(wave_list).first(std::min(wave_count, kCapacity));
  }
  [[nodiscard]] bool is_complete() const { return crest_count <= kCapacity && wave_count <= kCapacity; }
};

struct WaveFinding {
  bool found = false;                // false: nothing in the band stands out of the face's own roughness
  double count = 0.0;                // face length / spacing of the principal wave
  double spacing_mm = 0.0;           // wavelength of the principal wave, the one that explains most
  double principal_height_um = 0.0;  // twice its amplitude
  double height_um = 0.0;            // peak to valley of all waves of the band over the face
  std::size_t waves = 0;             // sinusoids of the band
  double false_alarm = 1.0;          // bound of the chance that noise gave the weakest of them; 1: none found

  // A sinusoid of the band this high, peak to valley, beside what was found, would have been found with a
  // chance of at least 95 %; a lower one may be there unseen. Always above 0. See detection_floor.h.
  double floor_um = 0.0;

  SingleWaves single;  // none when nothing was found

  std::size_t component_count = 0;
  std::array<WaveComponent, WaveSet::kMaxWaves> component_list{};  // in the order of their discovery

  // What the drive itself writes, once hold_against_drive (drive_waves.h) was told; 0 before.
  double drive_um = 0.0;
  bool below_drive = false;  // found, and no higher than what the drive writes

  [[nodiscard]] std::span<const WaveComponent> components() const {
    return std::span(component_list).first(component_count);
  }
};

}  // namespace crestgate::analysis
