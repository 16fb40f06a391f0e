// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/wave_search.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>
#include <string>

#include "analysis/statistics/moments.h"
#include "analysis/texture/number_text.h"
#include "analysis/waves/fisher_test.h"
#include "analysis/waves/wave_set.h"
#include "base/expects.h"

namespace crestgate::analysis {
namespace {

constexpr double kPointsPerShortest = 16.0;
constexpr double kLeastSamplesPerShortest = 8.0;
constexpr std::size_t kTrialsPerOrdinate = 8;
constexpr double kNoiseReach = 3.0;       // noise is judged down to a third of the shortest wave,
constexpr double kNoiseOrdinates = 40.0;  // or further, until there are about so many ordinates
constexpr double kFewestPerFace = 0.75;   // of a wave: less is form
constexpr double kBandTolerance = 0.005;  // a wave on the border belongs to the band; frequencies err by less
constexpr double kBorderReach = 0.5;      // waves per face; nearer to the band a frequency may be uncertain
constexpr double kBorderDoubt =
    4.5;  // chi-square of one unknown, three sigma, in units of an ordinate of noise
constexpr double kFalseAlarm = 1e-4;
// Trials between the ordinates raise the chance of an outlier about threefold.
constexpr double kPlacesPerOrdinate = 3.0;
// Ordinates whose median is one estimate of the noise: few enough for a level that changes with the
// wavelength, enough for a median.
constexpr std::size_t kNoiseGroup = 10;
// Ordinates that Fisher's sum may count: the level is known no better than from so many. Counting all of
// them, 79 of 5000 simulated rough faces of 5 mm with a correlation length of 0.08 mm had a wave, with 16 it
// were 21, with 12 six; of 5000 with 0.01 mm none. (The number was chosen on these faces; fresh ones are in
// the tests.) The price on 5 mm: a wave as high as 2 Rq is found in 149 of 150 faces at 0.01 mm, but in 32 of
// 150 at 0.08 mm, where the roughness itself looks like waves.
constexpr std::size_t kNoiseWorth = 12;
constexpr double kSmallestAmplitudeUm = 5e-5;  // far below any pickup: what is left of rounding, not a wave
// The columns of a trial must keep this much of their area once the form is taken out, or they are form:
// their height would be anyone's guess.
constexpr double kLeastArea = 0.02;  // one wave per face beside an arc keeps 0.03
constexpr double kOverhang = 1.01;   // a face that lacks a sample or two still holds its longest wave

}  // namespace

base::Result<WaveSearch> WaveSearch::prepare(const WaveSearchOptions& options) {
  const double face_mm = static_cast<double>(options.sample_count) * options.spacing_mm;
  if (options.band.longest_mm > face_mm * kOverhang) {
    return base::Error{base::ErrorCode::kTooShort, "waves of up to " + shortest(options.band.longest_mm) +
                                                       " mm need a face at least as long, the trace has " +
                                                       fixed(face_mm, 3) + " mm"};
  }
  if (options.spacing_mm * kLeastSamplesPerShortest > options.band.shortest_mm) {
    return base::Error{base::ErrorCode::kOutOfRange,
                       "waves of " + shortest(options.band.shortest_mm) +
                           " mm need a sample spacing of at most " +
                           shortest(options.band.shortest_mm / kLeastSamplesPerShortest) + " mm, found " +
                           shortest(options.spacing_mm) + " mm"};
  }
  const double wanted = options.band.shortest_mm / kPointsPerShortest / options.spacing_mm;
  const std::size_t group =
      std::max<std::size_t>(1, static_cast<std::size_t>(std::floor(wanted * (1.0 + 1e-9))));
  const std::size_t points = options.sample_count / group;
  const double point_mm = static_cast<double>(group) * options.spacing_mm;
  auto form = FormFit::prepare(
      options.form, {.sample_count = points, .spacing_mm = point_mm, .fit_first = 0, .fit_count = points});
  if (!form) return form.error();
  WaveSearch search(options, *form);
  search.group_ = group;
  search.points_ = points;
  search.point_mm_ = point_mm;
  const int degree = std::max(0, search.form_.tangent_degree());
  if (points <= static_cast<std::size_t>(degree) + 2) {
    return base::Error{base::ErrorCode::kTooShort, "the face is too short for waves beside its form"};
  }
  search.form_columns_ = orthonormal_form_columns(points, degree);
  search.fft_ = std::make_unique<RealFft>(RealFft::good_size(kTrialsPerOrdinate * points));
  search.prepare_trials();
  return search;
}

void WaveSearch::prepare_trials() {
  const double size = static_cast<double>(fft_->size());
  const double face = static_cast<double>(points_);
  const double shortest_per_point = point_mm_ / options_.band.shortest_mm;
  const double noise_end = std::min(0.5, std::max(kNoiseReach * shortest_per_point, kNoiseOrdinates / face));
  first_trial_ = std::max<std::size_t>(1, static_cast<std::size_t>(std::ceil(kFewestPerFace / face * size)));
  const auto last = static_cast<std::size_t>(std::floor(noise_end * size));
  trials_.resize(last - first_trial_ + 1);

  std::vector<double> cosine(points_);
  std::vector<double> sine(points_);
  for (std::size_t t = 0; t < trials_.size(); ++t) {
    const double frequency = static_cast<double>(first_trial_ + t) / size;
    for (std::size_t i = 0; i < points_; ++i) {
      const double phase = 2.0 * std::numbers::pi * frequency * static_cast<double>(i);
      cosine[i] = std::cos(phase);
      sine[i] = std::sin(phase);
    }
    remove_form(form_columns_, cosine);
    remove_form(form_columns_, sine);
    double cc = 0.0;
    double cs = 0.0;
    double ss = 0.0;
    for (std::size_t i = 0; i < points_; ++i) {
      cc += cosine[i] * cosine[i];
      cs += cosine[i] * sine[i];
      ss += sine[i] * sine[i];
    }
    const double determinant = cc * ss - cs * cs;
    if (determinant < kLeastArea * 0.25 * face * face) continue;  // stays at weight 0
    trials_[t] = {.cosine_weight = ss / determinant,
                  .mixed_weight = -2.0 * cs / determinant,
                  .sine_weight = cc / determinant};
  }
}

// What the mean over a group of samples leaves of a wave of this frequency.
double WaveSearch::damping(double frequency) const {
  const double group = static_cast<double>(group_);
  const double angle = std::numbers::pi * frequency;
  return std::sin(angle) / (group * std::sin(angle / group));
}

bool WaveSearch::is_in_band(double frequency) const {
  const double per_mm = frequency / point_mm_;
  return per_mm * options_.band.longest_mm >= 1.0 - kBandTolerance &&
         per_mm * options_.band.shortest_mm <= 1.0 + kBandTolerance;
}

// The sum of squares that each trial would explain. The residual is free of form, so its products with the
// trial's columns are those of the plain sinusoids: one transform gives them all.
void WaveSearch::scan(std::span<const double> residual, WaveWorkspace& workspace) const {
  workspace.pairs.resize(fft_->pair_count());
  workspace.spectrum.resize(fft_->spectrum_count());
  const auto samples = as_samples(workspace.pairs);
  std::ranges::copy(residual, samples.begin());
  std::fill(samples.begin() + static_cast<std::ptrdiff_t>(residual.size()), samples.end(), 0.0);
  fft_->forward(workspace.pairs, workspace.spectrum);
  workspace.explained.resize(trials_.size());
  for (std::size_t t = 0; t < trials_.size(); ++t) {
    const double c = workspace.spectrum[first_trial_ + t].real();
    const double s = -workspace.spectrum[first_trial_ + t].imag();
    workspace.explained[t] =
        trials_[t].cosine_weight * c * c + trials_[t].mixed_weight * c * s + trials_[t].sine_weight * s * s;
  }
}

// One trial per whole number of waves on the face: nearly independent of each other. Ordinates of noise are
// distributed exponentially: median = mean * ln 2. The noisiest stretch of the spectrum speaks for all of it,
// since the roughness fades towards wavelengths near its own correlation length.
WaveSearch::Noise WaveSearch::noise(WaveWorkspace& workspace) const {
  const double size = static_cast<double>(fft_->size());
  const double face = static_cast<double>(points_);
  Noise noise;
  workspace.ordinates.clear();
  workspace.ordinates.reserve(trials_.size());
  for (std::size_t whole = 1; 2 * whole < points_; ++whole) {
    const double waves = static_cast<double>(whole);
    const auto index = static_cast<std::size_t>(std::round(waves / face * size));
    if (index < first_trial_ || index - first_trial_ >= trials_.size()) continue;
    if (trials_[index - first_trial_].cosine_weight == 0.0) continue;
    workspace.ordinates.push_back(workspace.explained[index - first_trial_]);
    if (is_in_band(waves / face)) ++noise.in_band;
  }
  noise.ordinates = workspace.ordinates.size();
  const std::span<double> ordinates(workspace.ordinates);
  const std::size_t groups = std::max<std::size_t>(1, noise.ordinates / kNoiseGroup);
  for (std::size_t group = 0; group < groups && noise.ordinates > 0; ++group) {
    const std::size_t start = group * noise.ordinates / groups;
    const std::size_t end = (group + 1) * noise.ordinates / groups;
    noise.level = std::max(noise.level, median_of(ordinates.subspan(start, end - start)) / std::numbers::ln2);
  }
  return noise;
}

WaveFinding WaveSearch::describe(std::span<const Sinusoid> waves, WaveWorkspace& workspace) const {
  WaveFinding finding;
  workspace.wave_um.assign(options_.sample_count, 0.0);
  double most = 0.0;
  for (const Sinusoid& wave : waves) {
    if (!is_in_band(wave.frequency)) continue;
    ++finding.waves;
    const double regained = 1.0 / damping(wave.frequency);
    const double cosine = wave.cosine * regained;
    const double sine = wave.sine * regained;
    // Point 0 stands in the middle of the first group.
    const double step = 2.0 * std::numbers::pi * wave.frequency / static_cast<double>(group_);
    const double start = -0.5 * step * (static_cast<double>(group_) - 1.0);
    const double turn_cosine = std::cos(step);
    const double turn_sine = std::sin(step);
    double c = std::cos(start);
    double s = std::sin(start);
    for (double& height_um : workspace.wave_um) {
      height_um += cosine * c + sine * s;
      const double next = c * turn_cosine - s * turn_sine;
      s = s * turn_cosine + c * turn_sine;
      c = next;
    }
    if (wave.explained > most) {
      most = wave.explained;
      finding.spacing_mm = point_mm_ / wave.frequency;
      finding.principal_height_um = 2.0 * std::hypot(cosine, sine);
    }
  }
  finding.found = finding.waves > 0;
  if (!finding.found) return finding;
  const auto [lowest, highest] = std::ranges::minmax_element(workspace.wave_um);
  finding.height_um = *highest - *lowest;
  finding.count = static_cast<double>(options_.sample_count) * options_.spacing_mm / finding.spacing_mm;
  return finding;
}

double WaveSearch::strongest_trial(std::span<const double> explained) const {
  const auto best = static_cast<std::size_t>(std::ranges::max_element(explained) - explained.begin());
  return static_cast<double>(first_trial_ + best) / static_cast<double>(fft_->size());
}

// A parabola through exact values around the frequency, twice; then onto the border of the band when the
// frequency lies outside by no more than its own uncertainty.
double WaveSearch::settled(const WaveSet& set, double start, const Noise& noise) const {
  const double frequency = refined(set, start);
  if (is_in_band(frequency)) return frequency;
  const double longest = point_mm_ / options_.band.longest_mm;
  const double shortest_wave = point_mm_ / options_.band.shortest_mm;
  const double border = frequency < longest ? longest : shortest_wave;
  if (std::abs(frequency - border) * static_cast<double>(points_) > kBorderReach) return frequency;
  const double loss = set.explained_at(frequency) - set.explained_at(border);
  return loss <= kBorderDoubt * noise.level ? border : frequency;
}

double WaveSearch::refined(const WaveSet& set, double frequency) const {
  for (const double part : {2.0, 16.0}) {
    const double step = 1.0 / (part * static_cast<double>(fft_->size()));
    const double before = set.explained_at(frequency - step);
    const double here = set.explained_at(frequency);
    const double after = set.explained_at(frequency + step);
    const double bend = before - 2.0 * here + after;
    if (bend < 0.0) frequency += step * std::clamp(0.5 * (before - after) / bend, -2.0, 2.0);
  }
  return frequency;
}

// Each wave in turn is refined beside all the others: the first ones were found while the later ones still
// disturbed them. The newest stays the last.
void WaveSearch::polish(WaveSet& set, std::span<const double> clean, std::span<double> frequencies,
                        const Noise& noise) const {
  for (std::size_t turn = 0; turn < frequencies.size(); ++turn) {
    set.restart(clean);
    for (std::size_t other = 1; other < frequencies.size(); ++other) set.add(frequencies[other]);
    const double moved = settled(set, frequencies[0], noise);
    set.add(moved);
    std::rotate(frequencies.begin(), frequencies.begin() + 1, frequencies.end());
    frequencies.back() = moved;
  }
}

// The chance that noise gave the wave that was added last.
double WaveSearch::chance_of(const Sinusoid& wave, const Noise& noise) const {
  const std::size_t ordinates = std::min(noise.ordinates, kNoiseWorth);
  const double sum = wave.explained + noise.level * static_cast<double>(ordinates);
  if (ordinates < 2 || !(sum > 0.0)) return 1.0;
  return false_alarm_bound(wave.explained / sum, ordinates,
                           kPlacesPerOrdinate * std::max(1.0, static_cast<double>(noise.in_band)));
}

base::Outcome WaveSearch::level(std::span<const double> heights_um, WaveWorkspace& workspace) const {
  CRESTGATE_EXPECTS(heights_um.size() == options_.sample_count);
  workspace.clean.resize(points_);
  workspace.residual.resize(points_);
  workspace.columns.resize(2 * WaveSet::kMaxWaves * points_);
  for (std::size_t i = 0; i < points_; ++i) {
    double sum = 0.0;
    for (std::size_t k = 0; k < group_; ++k) sum += heights_um[i * group_ + k];
    workspace.residual[i] = sum / static_cast<double>(group_);
  }
  if (const auto removed = form_.remove(workspace.residual, workspace.clean); !removed)
    return removed.error();
  remove_form(form_columns_, workspace.clean);
  return base::Done{};
}

base::Result<WaveFinding> WaveSearch::find(std::span<const double> heights_um,
                                           WaveWorkspace& workspace) const {
  if (const auto levelled = level(heights_um, workspace); !levelled) return levelled.error();
  WaveSet set(form_columns_, workspace.residual, workspace.columns);
  set.restart(workspace.clean);
  std::array<double, WaveSet::kMaxWaves> frequencies{};
  std::size_t found = 0;
  double false_alarm = 1.0;
  const double least = 0.5 * static_cast<double>(points_) * kSmallestAmplitudeUm * kSmallestAmplitudeUm;
  scan(set.residual(), workspace);
  while (found < WaveSet::kMaxWaves && std::ranges::max(workspace.explained) > least) {
    const Noise before = noise(workspace);
    auto tried = frequencies;  // what an insignificant candidate does to the others must not stay
    tried[found] = settled(set, strongest_trial(workspace.explained), before);
    if (!set.add(tried[found])) break;
    if (found > 0) polish(set, workspace.clean, std::span(tried).first(found + 1), before);
    scan(set.residual(), workspace);
    const double chance = set.size() == found + 1 ? chance_of(set.waves().back(), noise(workspace)) : 1.0;
    if (chance > kFalseAlarm) break;
    frequencies = tried;
    if (is_in_band(frequencies[found])) false_alarm = chance;
    ++found;
  }
  set.restart(workspace.clean);
  for (std::size_t k = 0; k < found; ++k) set.add(frequencies[k]);
  set.solve();
  WaveFinding finding = describe(set.waves(), workspace);
  if (finding.found) finding.false_alarm = false_alarm;
  return finding;
}

}  // namespace crestgate::analysis
