// SPDX-License-Identifier: Apache-2.0
#include "analysis/waves/wave_search.h"

#include <algorithm>
#include <array>
#include <cmath>
#include <limits>
#include <numbers>
#include <string>

#include "analysis/statistics/moments.h"
#include "analysis/text/number_text.h"
#include "analysis/waves/single_waves.h"
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
constexpr double kBorderReach = 1.0;      // waves per face; nearer to the band a frequency may be uncertain
constexpr double kBorderDoubt = 4.5;      // three sigma of one unknown, in units of an ordinate of noise
// Ordinates whose median is one estimate of the noise: few enough for a level that changes with the
// wavelength, enough for a median.
constexpr std::size_t kNoiseGroup = 10;
constexpr double kSmallestAmplitudeUm = 5e-5;  // far below any pickup: what is left of rounding, not a wave
constexpr int kHighestDegree = 2;              // of the form: more would follow the waves
constexpr double kLeastSwing = 0.1;            // of the peak to valley: a lower ripple is no wave of its own
constexpr std::size_t kLooksPerPoint = 8;      // for crests: 128 on the shortest wave
// The columns of a trial must keep this much of their area once the form is taken out, or they are form:
// their height would be anyone's guess.
constexpr double kLeastArea = 0.02;  // one wave per face beside an arc keeps 0.03
constexpr double kOverhang = 1.01;   // a face that lacks a sample or two still holds its longest wave

}  // namespace

FormRemoval form_beside_waves(const FormRemoval& form) {
  if (form.kind == FormKind::kArc) return {.kind = FormKind::kArc};
  return {.kind = FormKind::kPolynomial, .degree = 2};
}

base::Result<WaveSearch> WaveSearch::prepare(const WaveSearchOptions& options) {
  if (options.form.kind == FormKind::kPolynomial && options.form.degree > kHighestDegree) {
    return base::Error{base::ErrorCode::kInvalidConfig,
                       "waves are judged beside a form polynomial of degree 2 at most, since a higher one "
                       "follows the waves themselves; found degree " +
                           std::to_string(options.form.degree)};
  }
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
  search.first_sample_ = options.sample_count % group / 2;
  search.points_ = points;
  search.point_mm_ = point_mm;
  // An arc of a radius that is not quite the face's own leaves a crown behind.
  const bool is_arc = options.form.kind == FormKind::kArc;
  const int degree = is_arc ? 2 : std::max(0, search.form_.tangent_degree());
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

  const auto grams =
      grams_of(*fft_, {.first = first_trial_, .count = trials_.size()}, form_columns_, points_);
  const auto gain = [this](double frequency, const SinusoidGram& gram) {
    return gram.least_energy() * damping(frequency) * damping(frequency);
  };
  // The borders of the band lie between trials.
  least_gain_ = std::numeric_limits<double>::infinity();
  for (const double border_mm : {options_.band.longest_mm, options_.band.shortest_mm}) {
    const double frequency = point_mm_ / border_mm;
    least_gain_ = std::min(least_gain_, gain(frequency, gram_at(frequency, form_columns_, points_)));
  }
  for (std::size_t t = 0; t < trials_.size(); ++t) {
    const SinusoidGram& gram = grams[t];
    if (gram.determinant() < kLeastArea * 0.25 * face * face) continue;  // stays at weight 0
    trials_[t] = {.cosine_weight = gram.ss / gram.determinant(),
                  .mixed_weight = -2.0 * gram.cs / gram.determinant(),
                  .sine_weight = gram.cc / gram.determinant()};
    const double frequency = static_cast<double>(first_trial_ + t) / size;
    if (is_in_band(frequency)) least_gain_ = std::min(least_gain_, gain(frequency, gram));
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
WaveNoise WaveSearch::noise(WaveWorkspace& workspace) const {
  const double size = static_cast<double>(fft_->size());
  const double face = static_cast<double>(points_);
  WaveNoise noise;
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

WaveComponent WaveSearch::component_of(const Sinusoid& wave) const {
  const double spacing_mm = point_mm_ / wave.frequency;
  // Point 0 stands in the middle of the first group.
  const double zero_mm =
      static_cast<double>(first_sample_) * options_.spacing_mm + 0.5 * (point_mm_ - options_.spacing_mm);
  const double turns = std::atan2(wave.sine, wave.cosine) / (2.0 * std::numbers::pi);
  const double crest = turns + zero_mm / spacing_mm;
  double first_crest_mm = (crest - std::floor(crest)) * spacing_mm;
  if (first_crest_mm >= spacing_mm) first_crest_mm = 0.0;
  return {.spacing_mm = spacing_mm,
          .height_um = 2.0 * std::hypot(wave.cosine, wave.sine) / damping(wave.frequency),
          .first_crest_mm = first_crest_mm,
          .in_band = is_in_band(wave.frequency)};
}

// Adds the wave to the wave profile, with what the means took from it.
void WaveSearch::draw(const Sinusoid& wave, std::span<double> wave_um) const {
  const double regained = 1.0 / damping(wave.frequency);
  const double cosine = wave.cosine * regained;
  const double sine = wave.sine * regained;
  // Point 0 stands in the middle of the first group.
  const double step = 2.0 * std::numbers::pi * wave.frequency / static_cast<double>(group_);
  const double start =
      -step * (static_cast<double>(first_sample_) + 0.5 * (static_cast<double>(group_) - 1.0));
  const double turn_cosine = std::cos(step);
  const double turn_sine = std::sin(step);
  double c = std::cos(start);
  double s = std::sin(start);
  for (double& height_um : wave_um) {
    height_um += cosine * c + sine * s;
    const double next = c * turn_cosine - s * turn_sine;
    s = s * turn_cosine + c * turn_sine;
    c = next;
  }
}

void WaveSearch::describe(std::span<const Sinusoid> waves, WaveWorkspace& workspace,
                          WaveFinding& finding) const {
  workspace.wave_um.assign(options_.sample_count, 0.0);
  double most = 0.0;
  for (const Sinusoid& wave : waves) {
    const WaveComponent component = component_of(wave);
    finding.component_list[finding.component_count++] = component;
    if (!component.in_band) continue;
    ++finding.waves;
    draw(wave, workspace.wave_um);
    if (wave.explained > most) {
      most = wave.explained;
      finding.spacing_mm = component.spacing_mm;
      finding.principal_height_um = component.height_um;
    }
  }
  finding.found = finding.waves > 0;
  if (!finding.found) return;
  const auto [lowest, highest] = std::ranges::minmax_element(workspace.wave_um);
  finding.height_um = *highest - *lowest;
  finding.count = static_cast<double>(options_.sample_count) * options_.spacing_mm / finding.spacing_mm;
  find_single_waves(workspace.wave_um,
                    {.spacing_mm = options_.spacing_mm,
                     .least_swing_um = kLeastSwing * finding.height_um,
                     .stride = std::max<std::size_t>(1, group_ / kLooksPerPoint)},
                    finding.single);
}

// The strongest trial that the band still holds.
double WaveSearch::most_in_band(std::span<const double> explained) const {
  double most = 0.0;
  for (std::size_t t = 0; t < explained.size(); ++t) {
    if (is_in_band(static_cast<double>(first_trial_ + t) / static_cast<double>(fft_->size()))) {
      most = std::max(most, explained[t]);
    }
  }
  return most;
}

double WaveSearch::least_ordinate() const {
  return 0.5 * static_cast<double>(points_) * kSmallestAmplitudeUm * kSmallestAmplitudeUm;
}

// `hidden`: the strongest ordinate of the band that was left without a look.
double WaveSearch::floor_um(const WaveNoise& noise, double hidden) const {
  const double least = std::max({least_significant_ordinate(noise), least_ordinate(), hidden});
  return detection_floor_um(least, noise, least_gain_);
}

double WaveSearch::strongest_trial(std::span<const double> explained) const {
  const auto best = static_cast<std::size_t>(std::ranges::max_element(explained) - explained.begin());
  return static_cast<double>(first_trial_ + best) / static_cast<double>(fft_->size());
}

// A parabola through exact values around the frequency, twice; then onto the border of the band when the
// frequency lies outside by no more than its own uncertainty.
double WaveSearch::settled(const WaveSet& set, double start, const WaveNoise& noise) const {
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
                        const WaveNoise& noise) const {
  for (std::size_t turn = 0; turn < frequencies.size(); ++turn) {
    set.restart(clean);
    for (std::size_t other = 1; other < frequencies.size(); ++other) set.add(frequencies[other]);
    const double moved = settled(set, frequencies[0], noise);
    set.add(moved);
    std::rotate(frequencies.begin(), frequencies.begin() + 1, frequencies.end());
    frequencies.back() = moved;
  }
}

base::Outcome WaveSearch::level(std::span<const double> heights_um, WaveWorkspace& workspace) const {
  CRESTGATE_EXPECTS(heights_um.size() == options_.sample_count);
  workspace.clean.resize(points_);
  workspace.residual.resize(points_);
  workspace.columns.resize(2 * WaveSet::kMaxWaves * points_);
  for (std::size_t i = 0; i < points_; ++i) {
    double sum = 0.0;
    for (std::size_t k = 0; k < group_; ++k) sum += heights_um[first_sample_ + i * group_ + k];
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
  WaveFinding finding;
  double false_alarm = 1.0;
  double hidden = 0.0;
  scan(set.residual(), workspace);
  WaveNoise before = noise(workspace);
  while (std::ranges::max(workspace.explained) > least_ordinate()) {
    hidden = most_in_band(workspace.explained);
    if (found == WaveSet::kMaxWaves) break;
    auto tried = frequencies;  // what an insignificant candidate does to the others must not stay
    tried[found] = settled(set, strongest_trial(workspace.explained), before);
    if (!set.add(tried[found])) break;
    if (found > 0) polish(set, workspace.clean, std::span(tried).first(found + 1), before);
    if (set.size() != found + 1) break;
    scan(set.residual(), workspace);
    const WaveNoise after = noise(workspace);
    const double chance = chance_from_noise(set.waves().back().explained, after);
    hidden = 0.0;
    if (chance > kFalseAlarm) break;
    frequencies = tried;
    if (is_in_band(frequencies[found])) false_alarm = chance;
    ++found;
    before = after;
  }
  finding.floor_um = floor_um(before, hidden);
  set.restart(workspace.clean);
  for (std::size_t k = 0; k < found; ++k) set.add(frequencies[k]);
  set.solve();
  describe(set.waves(), workspace, finding);
  if (finding.found) finding.false_alarm = false_alarm;
  return finding;
}

}  // namespace crestgate::analysis
