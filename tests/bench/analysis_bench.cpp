// SPDX-License-Identifier: Apache-2.0
// The texture set of one trace beside the transform pair it is measured by.
#include <algorithm>
#include <cmath>
#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <string>
#include <vector>

#include <benchmark/benchmark.h>

#include "analysis/filters/mean_line.h"
#include "analysis/filters/real_fft.h"
#include "analysis/judging/part_judge.h"
#include "analysis/morphology/disk_filter.h"
#include "analysis/profiles.h"
#include "analysis/texture/profile_analysis.h"
#include "analysis/texture/sort_falling.h"
#include "analysis/texture/texture_computation.h"

namespace crestgate::analysis {
namespace {

constexpr double kSpacing = 0.0005;

// Five sections and one cut-off before and after nearly fill the trace: 576 samples each of 4096, 2304 of
// 16384 and so on, lengths that a transform likes, as those of the setting classes are (1600 samples of 0.5
// um in 0.8 mm).
TextureSettings filling(std::size_t count) {
  TextureSettings settings;
  settings.lambda_c_mm = static_cast<double>(count * 9 / 64) * kSpacing;
  settings.ratios = {{.profile = 'R', .family = RatioFamily::kRatioAtDepth, .first = 5.0, .second = 1.0}};
  return settings;
}

std::size_t count_of(const benchmark::State& state) { return static_cast<std::size_t>(state.range(0)); }

void run_texture(benchmark::State& state, const TextureSettings& settings,
                 std::span<const std::string> only = {}) {
  const std::size_t count = count_of(state);
  const auto computation = TextureComputation::prepare(settings, kSpacing, count, only);
  if (!computation) return state.SkipWithError(computation.error().detail.c_str());
  const auto heights_um = profiles::rough(count, 0.5, 20, 1);
  Workspace workspace;
  std::vector<ParameterValue> values(computation->names().size());
  for (auto unused : state) {
    if (!computation->run(heights_um, workspace, values)) return state.SkipWithError("the run failed");
    benchmark::DoNotOptimize(values.data());
  }
}

// The complete set: 48 parameters each of P, R and W and a material ratio, 145 numbers; no waves, no face.
void texture_complete_gaussian(benchmark::State& state) { run_texture(state, filling(count_of(state))); }

void texture_complete_robust2(benchmark::State& state) {
  TextureSettings settings = filling(count_of(state));
  settings.filter = FilterKind::kRobustOrder2;
  run_texture(state, settings);
}

// The 48 parameters of R and the material ratio, with filters and form removal.
void texture_r_set(benchmark::State& state) {
  const TextureSettings settings = filling(count_of(state));
  std::vector<std::string> only;
  for (const ParameterName& name : parameter_names(settings)) {
    if (name.symbol[0] == 'R') only.push_back(name.symbol);
  }
  run_texture(state, settings, only);
}

// The numbers that every judgement records.
void texture_routine(benchmark::State& state) {
  const TextureSettings settings = filling(count_of(state));
  std::vector<std::string> only;
  for (const ParameterName& name : routine_names(settings)) only.push_back(name.symbol);
  run_texture(state, settings, only);
}

void texture_set_with_arc(benchmark::State& state) {
  TextureSettings settings = filling(count_of(state));
  settings.form.kind = FormKind::kArc;
  run_texture(state, settings);
}

void texture_set_with_waves(benchmark::State& state) {
  TextureSettings settings = filling(count_of(state));
  const double face_mm = static_cast<double>(count_of(state)) * kSpacing;
  settings.waves = WaveBand{.shortest_mm = 0.08 * face_mm, .longest_mm = face_mm};
  run_texture(state, settings);
}

// A rough face with grooves, so that a robust filter has something to do.
std::vector<double> grooved(std::size_t count) {
  std::vector<double> heights_um = profiles::rough(count, 0.5, 20, 1);
  for (std::size_t i = 0; i < count; ++i) {
    if (i % 400 >= 200 && i % 400 < 230) heights_um[i] -= 3.0;
  }
  return heights_um;
}

void mean_line(benchmark::State& state, FilterKind kind) {
  const std::size_t count = count_of(state);
  const auto filter = MeanLine::prepare({.kind = kind,
                                         .cutoff_mm = static_cast<double>(count / 7) * kSpacing,
                                         .spacing_mm = kSpacing,
                                         .sample_count = count});
  if (!filter) return state.SkipWithError(filter.error().detail.c_str());
  const std::vector<double> heights_um = grooved(count);
  std::vector<double> line_um(count);
  FilterWorkspace workspace;
  MeanLineReport report;
  for (auto unused : state) {
    report = filter->apply(heights_um, line_um, workspace);
    benchmark::DoNotOptimize(line_um.data());
  }
  state.counters["passes"] = report.passes;
}

void closing(benchmark::State& state) {
  const std::size_t count = count_of(state);
  const auto disk = RollingDisk::prepare({.radius_mm = 0.1, .spacing_mm = kSpacing, .sample_count = count});
  if (!disk) return state.SkipWithError(disk.error().detail.c_str());
  const std::vector<double> heights_um = grooved(count);
  std::vector<double> closed_um(count);
  RollingDiskWorkspace workspace;
  for (auto unused : state) {
    disk->close(heights_um, closed_um, workspace);
    benchmark::DoNotOptimize(closed_um.data());
  }
}

// Forward and inverse transform of the trace padded by one cut-off.
void transform_pair(benchmark::State& state) {
  const std::size_t count = count_of(state);
  const RealFft fft(RealFft::good_size(count + count / 7));
  std::vector<Complex> pairs(fft.pair_count());
  std::vector<Complex> spectrum(fft.spectrum_count());
  const auto heights_um = profiles::rough(fft.size(), 0.5, 20, 1);
  for (std::size_t i = 0; i < fft.size(); ++i) as_samples(pairs)[i] = heights_um[i];
  for (auto unused : state) {
    fft.forward(pairs, spectrum);
    fft.inverse(spectrum, pairs);
    benchmark::DoNotOptimize(pairs.data());
  }
}

void judge_part(benchmark::State& state) {
  const std::size_t count = count_of(state);
  ZonePlan zone;
  zone.name = "crest A";
  zone.settings = filling(count);
  const double face_mm = static_cast<double>(count) * kSpacing;
  zone.settings.waves = WaveBand{.shortest_mm = 0.08 * face_mm, .longest_mm = face_mm};
  zone.limits = {{.symbol = "Ra",
                  .unit = "um",
                  .lower = std::nullopt,
                  .upper = 5.0,
                  .rule = base::AcceptanceRule::kMaximum}};
  PartJudge judge({.zones = {zone}});
  std::vector<std::int32_t> counts;
  for (const double z : profiles::rough(count, 0.5, 20, 1))
    counts.push_back(static_cast<std::int32_t>(z * 1000.0));
  const TraceInput trace{.zone_index = 0, .spacing_mm = kSpacing, .height_step_um = 0.001, .counts = counts};
  for (auto unused : state) {
    const PartDecision decision = judge.judge(std::span(&trace, 1));
    if (decision.verdict != base::Verdict::kAccept) return state.SkipWithError(decision.detail.c_str());
  }
}

// Profiles enough that no branch predictor knows them by heart.
constexpr std::size_t kProfiles = 16;

std::vector<std::vector<double>> rough_profiles(std::size_t count) {
  std::vector<std::vector<double>> made;
  for (std::size_t k = 0; k < kProfiles; ++k) made.push_back(profiles::rough(count, 0.5, 20, k + 1));
  return made;
}

std::vector<std::vector<double>> wavy_profiles(std::size_t count) {
  std::vector<std::vector<double>> made;
  for (std::size_t k = 0; k < kProfiles; ++k) {
    const double phase = static_cast<double>(k);
    made.push_back(profiles::sampled(count, 1.0 / static_cast<double>(count), [phase](double x) {
      return profiles::sine(x, 0.23, phase) + 0.4 * profiles::sine(x, 0.31, 2.0 * phase);
    }));
  }
  return made;
}

void run_families(benchmark::State& state, FamilySet families,
                  const std::vector<std::vector<double>>& wholes) {
  const std::size_t count = count_of(state);
  const auto analysis = ProfileAnalysis::prepare({.spacing_mm = kSpacing,
                                                  .sample_count = count,
                                                  .evaluated_samples = count,
                                                  .sections = 4,
                                                  .families = families});
  if (!analysis) return state.SkipWithError(analysis.error().detail.c_str());
  ProfileWorkspace workspace;
  ProfileNumbers numbers;
  std::size_t next = 0;
  for (auto unused : state) {
    analysis->run(wholes[next], workspace, numbers);
    next = (next + 1) % kProfiles;
    benchmark::DoNotOptimize(numbers);
  }
}

template <ParameterFamily kFamily>
void family(benchmark::State& state) {
  run_families(state, {kFamily}, rough_profiles(count_of(state)));
}

void every_family(benchmark::State& state) {
  run_families(state, FamilySet::all(), rough_profiles(count_of(state)));
}

void every_family_of_waviness(benchmark::State& state) {
  run_families(state, FamilySet::all(), wavy_profiles(count_of(state)));
}

// The transform pair that the whole set is measured by: 20000 samples for 16384 evaluated.
void padded_transform_pair(benchmark::State& state) {
  const std::size_t count = count_of(state);
  const RealFft fft(RealFft::good_size(count + count / 5));
  std::vector<Complex> pairs(fft.pair_count());
  std::vector<Complex> spectrum(fft.spectrum_count());
  const auto heights_um = profiles::rough(fft.size(), 0.5, 20, 1);
  std::ranges::copy(heights_um, as_samples(pairs).begin());
  for (auto unused : state) {
    fft.forward(pairs, spectrum);
    fft.inverse(spectrum, pairs);
    benchmark::DoNotOptimize(pairs.data());
  }
}

void sort_heights(benchmark::State& state, const std::vector<std::vector<double>>& wholes) {
  std::vector<double> falling_um(count_of(state));
  SortWorkspace workspace;
  std::size_t next = 0;
  for (auto unused : state) {
    sort_falling(wholes[next], falling_um, workspace);
    next = (next + 1) % kProfiles;
    benchmark::DoNotOptimize(falling_um.data());
  }
}

void sort_roughness(benchmark::State& state) { sort_heights(state, rough_profiles(count_of(state))); }
void sort_waviness(benchmark::State& state) { sort_heights(state, wavy_profiles(count_of(state))); }

void sort_roughness_by_comparing(benchmark::State& state) {
  const auto wholes = rough_profiles(count_of(state));
  std::vector<double> falling_um(count_of(state));
  std::size_t next = 0;
  for (auto unused : state) {
    std::ranges::copy(wholes[next], falling_um.begin());
    std::ranges::sort(falling_um, std::greater<>());
    next = (next + 1) % kProfiles;
    benchmark::DoNotOptimize(falling_um.data());
  }
}

constexpr std::int64_t kSizes[] = {4096, 16384, 65536};

void at_sizes(benchmark::internal::Benchmark* bench) {
  for (const std::int64_t size : kSizes) bench->Arg(size);
  bench->Unit(benchmark::kMicrosecond);
}

void at_filter_sizes(benchmark::internal::Benchmark* bench) {
  at_sizes(bench);
  bench->Arg(262144);
}

BENCHMARK(transform_pair)->Apply(at_filter_sizes);
BENCHMARK_CAPTURE(mean_line, gaussian, FilterKind::kGaussian)->Apply(at_filter_sizes);
BENCHMARK_CAPTURE(mean_line, robust_order0, FilterKind::kRobustOrder0)->Apply(at_filter_sizes);
BENCHMARK_CAPTURE(mean_line, robust_order2, FilterKind::kRobustOrder2)->Apply(at_filter_sizes);
BENCHMARK_CAPTURE(mean_line, spline, FilterKind::kSpline)->Apply(at_filter_sizes);
BENCHMARK_CAPTURE(mean_line, two_step, FilterKind::kTwoStep)->Apply(at_filter_sizes);
BENCHMARK(closing)->Apply(at_filter_sizes);
BENCHMARK(texture_complete_gaussian)->Apply(at_filter_sizes);
BENCHMARK(texture_complete_robust2)->Apply(at_filter_sizes);
BENCHMARK(texture_r_set)->Apply(at_filter_sizes);
BENCHMARK(texture_routine)->Apply(at_filter_sizes);
BENCHMARK(texture_set_with_arc)->Apply(at_sizes);
BENCHMARK(texture_set_with_waves)->Apply(at_sizes);
BENCHMARK(judge_part)->Apply(at_sizes);

void at_lengths(benchmark::internal::Benchmark* bench) {
  for (const std::int64_t length : {8000, 16384}) bench->Arg(length);
  bench->Unit(benchmark::kMicrosecond);
}

BENCHMARK(padded_transform_pair)->Apply(at_lengths);
BENCHMARK(every_family)->Apply(at_lengths);
BENCHMARK(every_family)->Arg(8004)->Unit(benchmark::kMicrosecond);  // no good size for a transform
BENCHMARK(every_family_of_waviness)->Apply(at_lengths);
BENCHMARK_TEMPLATE(family, ParameterFamily::kHeights)->Apply(at_lengths);
BENCHMARK_TEMPLATE(family, ParameterFamily::kSections)->Apply(at_lengths);
BENCHMARK_TEMPLATE(family, ParameterFamily::kSpatial)->Apply(at_lengths);
BENCHMARK_TEMPLATE(family, ParameterFamily::kHybrid)->Apply(at_lengths);
BENCHMARK_TEMPLATE(family, ParameterFamily::kElements)->Apply(at_lengths);
BENCHMARK_TEMPLATE(family, ParameterFamily::kFeatures)->Apply(at_lengths);
BENCHMARK_TEMPLATE(family, ParameterFamily::kCurve)->Apply(at_lengths);
BENCHMARK_TEMPLATE(family, ParameterFamily::kProbability)->Apply(at_lengths);
BENCHMARK_TEMPLATE(family, ParameterFamily::kVolumes)->Apply(at_lengths);
BENCHMARK(sort_roughness)->Apply(at_lengths)->Arg(262144);
BENCHMARK(sort_waviness)->Apply(at_lengths)->Arg(262144);
BENCHMARK(sort_roughness_by_comparing)->Apply(at_lengths)->Arg(262144);

}  // namespace
}  // namespace crestgate::analysis

BENCHMARK_MAIN();
