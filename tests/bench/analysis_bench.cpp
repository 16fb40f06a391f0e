// SPDX-License-Identifier: Apache-2.0
// The texture set of one trace beside the transform pair it is measured by.
#include <cstddef>
#include <cstdint>
#include <vector>

#include <benchmark/benchmark.h>

#include "analysis/filters/mean_line.h"
#include "analysis/filters/real_fft.h"
#include "analysis/judging/part_judge.h"
#include "analysis/morphology/disk_filter.h"
#include "analysis/profiles.h"
#include "analysis/texture/texture_computation.h"

namespace crestgate::analysis {
namespace {

constexpr double kSpacing = 0.0005;

// Five sections and one cut-off before and after fill the trace.
TextureSettings filling(std::size_t count) {
  TextureSettings settings;
  settings.lambda_c_mm = static_cast<double>(count / 7) * kSpacing;
  settings.material_ratios = {{.reference_percent = 5.0, .depth_um = 1.0}};
  return settings;
}

std::size_t count_of(const benchmark::State& state) { return static_cast<std::size_t>(state.range(0)); }

void run_texture(benchmark::State& state, const TextureSettings& settings) {
  const std::size_t count = count_of(state);
  const auto computation = TextureComputation::prepare(settings, kSpacing, count);
  if (!computation) return state.SkipWithError(computation.error().detail.c_str());
  const auto heights_um = profiles::rough(count, 0.5, 20, 1);
  Workspace workspace;
  std::vector<ParameterValue> values(computation->names().size());
  for (auto unused : state) {
    if (!computation->run(heights_um, workspace, values)) return state.SkipWithError("the run failed");
    benchmark::DoNotOptimize(values.data());
  }
}

void texture_set(benchmark::State& state) { run_texture(state, filling(count_of(state))); }

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
BENCHMARK(texture_set)->Apply(at_sizes);
BENCHMARK(texture_set_with_arc)->Apply(at_sizes);
BENCHMARK(texture_set_with_waves)->Apply(at_sizes);
BENCHMARK(judge_part)->Apply(at_sizes);

}  // namespace
}  // namespace crestgate::analysis

BENCHMARK_MAIN();
