// SPDX-License-Identifier: Apache-2.0
#pragma once
// Waves on a short face: how many, how far apart, how high.

#include <cstddef>
#include <memory>
#include <span>
#include <vector>

#include "analysis/filters/real_fft.h"
#include "analysis/profile/form_removal.h"
#include "analysis/waves/detection_floor.h"
#include "analysis/waves/sinusoid_gram.h"
#include "analysis/waves/wave_band.h"
#include "analysis/waves/wave_finding.h"
#include "analysis/waves/wave_set.h"
#include "base/result.h"

namespace crestgate::analysis {

// Scratch memory of a search, and its wave profile.
struct WaveWorkspace {
  std::vector<double> clean;
  std::vector<double> residual;
  std::vector<double> columns;
  std::vector<double> explained;
  std::vector<double> ordinates;
  std::vector<double> wave_um;  // the waves of the band at every sample of the face
  std::vector<Complex> pairs;
  std::vector<Complex> spectrum;
};

// Purpose   the form that is taken off before waves are sought: an arc of free radius where the zone has an
//           arc (a part of another radius is no wavy part), else a parabola (a slight crown is no wave).
FormRemoval form_beside_waves(const FormRemoval& form);

struct WaveSearchOptions {
  WaveBand band;
  FormRemoval form;
  double spacing_mm = 0.0;
  std::size_t sample_count = 0;
};

// Purpose   the waves of one face in a band of wavelengths. The face is the whole trace; lambda_c plays no
//           part. Words and pictures: WAVES.md.
// Method    1. Means of groups of samples, a sixteenth of the shortest wave long; what the mean takes from a
//              wave is given back later.
//           2. Form: removed as in form_removal.h, and fitted again along with every wave, so a wave as long
//              as the face keeps the height that form removal alone would take from it.
//           3. Trial wavelengths an eighth of a wave per face apart, from three quarters of a wave per face
//              to a third of the shortest wave: least squares of a sinusoid and the form; the strongest is
//              refined and taken out; repeated, all waves refined beside each other. Waves outside of the
//              band are taken out too, but not reported: a strong neighbour must not leak into the band.
//           4. A wave counts while its share in itself + noise (Fisher's g) could come from noise with a
//              chance of at most 1e-4 (detection_floor.h). The noise is that of the rough face itself:
//              medians of ten neighbouring ordinates of what is left, the highest of them; medians, because
//              waves not yet taken out must not count as noise. A wave outside of the band by less than its
//              frequency is uncertain counts as one on the border.
//           5. Peak to valley of the sum of the waves at every sample: nothing is lost at the band's borders
//              or at the ends of the face, as it would be with a band-pass filter. Its crests and single
//              waves: single_waves.h, the least swing a tenth of the peak to valley.
//           6. The detection floor, from the noise beside the waves found, for the wavelength and phase of
//              the band at which form and face leave least of a wave. Where the search ended for want of
//              room or because two waves could not be told apart, it is at least what is still left in the
//              band. A wave less than one per face away from a found one is part of that one.
// Source    ours. ISO 21920 has no waves on a short face; names and method must not be taken for the
//           standard's.
// Limits    a crown must be covered by the form (arc, polynomial of degree 2), otherwise it counts as a long
//           wave. At most 8 sinusoids.
class WaveSearch {
 public:
  // Errors    kInvalidConfig: the form is a polynomial of higher degree than 2, which would follow the waves.
  //           kTooShort: the longest wave of the band does not fit on the face. kOutOfRange: fewer than 8
  //           samples on the shortest wave.
  static base::Result<WaveSearch> prepare(const WaveSearchOptions& options);

  // Shape     heights_um: the whole face, smoothed by the S-filter, form not removed.
  // Pre       finite heights.
  // Errors    kNotConverged (arc).
  base::Result<WaveFinding> find(std::span<const double> heights_um, WaveWorkspace& workspace) const;

  [[nodiscard]] std::size_t sample_count() const { return options_.sample_count; }
  [[nodiscard]] double spacing_mm() const { return options_.spacing_mm; }

 private:
  // Inverse of the two by two matrix of a trial's columns once the form is taken out of them.
  struct Trial {
    double cosine_weight = 0.0;
    double mixed_weight = 0.0;
    double sine_weight = 0.0;
  };
  WaveSearch(const WaveSearchOptions& options, const FormFit& form) : options_(options), form_(form) {}
  void prepare_trials();
  [[nodiscard]] double damping(double frequency) const;
  [[nodiscard]] bool is_in_band(double frequency) const;
  void scan(std::span<const double> residual, WaveWorkspace& workspace) const;
  [[nodiscard]] WaveNoise noise(WaveWorkspace& workspace) const;
  [[nodiscard]] double strongest_trial(std::span<const double> explained) const;
  [[nodiscard]] double refined(const WaveSet& set, double frequency) const;
  [[nodiscard]] double settled(const WaveSet& set, double start, const WaveNoise& noise) const;
  [[nodiscard]] double least_ordinate() const;
  [[nodiscard]] double floor_um(const WaveNoise& noise, double hidden) const;
  [[nodiscard]] double most_in_band(std::span<const double> explained) const;
  void polish(WaveSet& set, std::span<const double> clean, std::span<double> frequencies,
              const WaveNoise& noise) const;
  base::Outcome level(std::span<const double> heights_um, WaveWorkspace& workspace) const;
  [[nodiscard]] WaveComponent component_of(const Sinusoid& wave) const;
  void draw(const Sinusoid& wave, std::span<double> wave_um) const;
  void describe(std::span<const Sinusoid> waves, WaveWorkspace& workspace, WaveFinding& finding) const;

  WaveSearchOptions options_;
  FormFit form_;
  std::size_t group_ = 1;         // samples in one mean
  std::size_t first_sample_ = 0;  // of the first mean: what is left over is shared by both ends
  std::size_t points_ = 0;        // means on the face
  double point_mm_ = 0.0;         // between means
  std::vector<double> form_columns_;
  std::unique_ptr<RealFft> fft_;
  std::size_t first_trial_ = 0;  // index in the spectrum
  std::vector<Trial> trials_;    // from first_trial_ on
  double least_gain_ = 0.0;      // of the band, see detection_floor.h
};

}  // namespace crestgate::analysis
