// SPDX-License-Identifier: Apache-2.0

#include "simulator/scenario/traces.h"

#include <filesystem>
#include <fstream>
#include <sstream>

#include <gtest/gtest.h>

#include "base/traverse.h"
#include "simulator/program/commands.h"

namespace crestgate::simulator {
namespace {

namespace fs = std::filesystem;

const std::string kClosedForms = CRESTGATE_SOURCE_DIR "/packaging/examples/scenario/closed_forms.scenario";
const std::string kDemo = CRESTGATE_SOURCE_DIR "/packaging/examples/scenario/demo.scenario";

class Folder {
 public:
  Folder() : path_(fs::path(::testing::TempDir()) / ("traces_" + std::to_string(::getpid()))) {
    fs::remove_all(path_);
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() { fs::remove_all(path_); }
  [[nodiscard]] std::string path() const { return path_.string(); }

 private:
  fs::path path_;
};

std::string text_of(const fs::path& path) {
  std::ifstream file(path, std::ios::binary);
  std::ostringstream text;
  text << file.rdbuf();
  return text.str();
}

TEST(TraceCsv, HeightsAreExactMultiplesOfTheStep) {
  EXPECT_EQ(csv_of({0, 1, -12345, 2'000'000}, {.spacing_nm = 500, .step_pm = 1000}),
            "x_mm,z_um\n0.0000,0.000\n0.0005,0.001\n0.0010,-12.345\n0.0015,2000.000\n");
  EXPECT_EQ(csv_of({1, -1}, {.spacing_nm = 1'000'000, .step_pm = 250}),
            "x_mm,z_um\n0.0,0.00025\n1.0,-0.00025\n");
  EXPECT_EQ(csv_of({base::kOverRangeCount, 3}, {.spacing_nm = 125, .step_pm = 1}),
            "x_mm,z_um\n0.000000,nan\n0.000125,0.000003\n");
}

TEST(Traces, AreWrittenWholeAndTheSameEachTime) {
  const auto scenario = read_scenario(kClosedForms);
  ASSERT_TRUE(scenario.has_value()) << scenario.error().detail;
  TraceSettings settings;
  settings.order.length_um = 1000;
  settings.traverses = 2;
  const Folder folder;
  ASSERT_EQ(*write_traces(*scenario, settings, folder.path() + "/a"), 22U);
  ASSERT_EQ(*write_traces(*scenario, settings, folder.path() + "/b"), 22U);
  std::size_t files = 0;
  for (const auto& entry : fs::directory_iterator(folder.path() + "/a")) {
    ++files;
    EXPECT_EQ(text_of(entry.path()), text_of(fs::path(folder.path()) / "b" / entry.path().filename()));
  }
  EXPECT_EQ(files, 22U);
  EXPECT_EQ(text_of(folder.path() + "/a/flat_stage0_zone1_traverse2.csv").substr(0, 24),
            "x_mm,z_um\n0.0000,0.0000\n");
}

// z = A sin(2 pi x / l) at the places of the samples, which lie evenly about the middle of the face.
TEST(Traces, OfASineAreTheSine) {
  const auto scenario = read_scenario(kClosedForms);
  ASSERT_TRUE(scenario.has_value());
  std::size_t seen = 0;
  const auto take = [&seen](const NamedTrace& trace) -> base::Outcome {
    if (trace.part.part != "sine") return base::Done{};
    ++seen;
    EXPECT_EQ(trace.counts.size(), 11'200U);
    for (std::size_t i = 0; i < trace.counts.size(); ++i) {
      const double x_mm = 0.0005 * (static_cast<double>(i) - 0.5 * 11'199.0);
      const double z_um = std::sin(2.0 * 3.14159265358979323846 * x_mm / 0.1);
      EXPECT_NEAR(1e-4 * trace.counts[i], z_um, 0.51e-4);  // half a step of 0.1 nm
    }
    return base::Done{};
  };
  ASSERT_TRUE(for_each_trace(*scenario, {}, take).has_value());
  EXPECT_EQ(seen, 1U);
}

TEST(Traces, BeyondTheGaugeAreRefused) {
  const auto scenario = read_scenario(kDemo);
  ASSERT_TRUE(scenario.has_value()) << scenario.error().detail;
  const Folder folder;
  TraceSettings settings;
  settings.order.length_um = 90'000;
  EXPECT_EQ(write_traces(*scenario, settings, folder.path()).error().detail,
            "demo.scenario: length 90000 um is not within the gauge's 20000 um");
  settings.order = {.length_um = 1000, .spacing_nm = 1, .speed_um_per_s = 500};
  EXPECT_EQ(write_traces(*scenario, settings, folder.path()).error().detail,
            "demo.scenario: spacing 1 nm is below the gauge's 100 nm");
}

int run(std::initializer_list<std::string> words, std::string* problem = nullptr) {
  const std::vector<std::string> arguments(words);
  ::testing::internal::CaptureStdout();
  ::testing::internal::CaptureStderr();
  const int code = run_command(arguments);
  ::testing::internal::GetCapturedStdout();
  const std::string told = ::testing::internal::GetCapturedStderr();
  if (problem != nullptr) *problem = told;
  return code;
}

TEST(CommandLine, SaysInOneLineWhatItCannotDo) {
  std::string problem;
  EXPECT_EQ(run({}, &problem), 2);
  EXPECT_EQ(problem, "crestgate-sim: expected the command 'serve', 'traces' or 'check', found nothing\n");
  EXPECT_EQ(run({"serve", kDemo}, &problem), 2);
  EXPECT_EQ(problem, "crestgate-sim: expected either '--pty PATH' or '--tcp PORT'\n");
  EXPECT_EQ(run({"serve", kDemo, "--tcp", "70000"}, &problem), 2);
  EXPECT_EQ(problem,
            "crestgate-sim: option '--tcp' expects a whole number within 0 to 65535, found '70000'\n");
  EXPECT_EQ(run({"traces", kDemo}, &problem), 2);
  EXPECT_EQ(problem, "crestgate-sim: expected '--out DIR'\n");
  EXPECT_EQ(run({"traces", kDemo, "--out"}, &problem), 2);
  EXPECT_EQ(problem, "crestgate-sim: option '--out' needs a value\n");
  EXPECT_EQ(run({"check", kDemo, "--loud"}, &problem), 2);
  EXPECT_EQ(problem, "crestgate-sim: unknown option '--loud', expected '--help'\n");
  EXPECT_EQ(run({"check", "/nowhere/x.scenario"}, &problem), 2);
  EXPECT_EQ(problem, "crestgate-sim: /nowhere/x.scenario: expected a scenario file, found none\n");
}

TEST(CommandLine, HelpsAndChecks) {
  for (const char* command : {"serve", "traces", "check"}) EXPECT_EQ(run({command, "--help"}), 0);
  EXPECT_EQ(run({"--help"}), 0);
  EXPECT_EQ(run({"check", kDemo}), 0);
  EXPECT_EQ(run({"check", kClosedForms}), 0);
  const Folder folder;
  EXPECT_EQ(run({"traces", kClosedForms, "--out", folder.path(), "--length-mm=0.8", "--spacing-um", "1"}), 0);
  EXPECT_TRUE(fs::exists(folder.path() + "/sine_stage0_zone1_traverse1.csv"));
}

}  // namespace
}  // namespace crestgate::simulator
