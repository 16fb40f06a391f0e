// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/terminal/terminal_lamp.h"

#include <array>
#include <chrono>
#include <cstdlib>
#include <string>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <fcntl.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "driver/signal/lease.h"
#include "support/run_async.h"

namespace crestgate::driver {
namespace {

base::CellSignal showing(base::Lamp lamp, std::uint64_t sequence = 1) {
  base::CellSignal signal;
  signal.state = lamp == base::Lamp::kDark ? base::CellState::kReady : base::CellState::kResult;
  signal.lamp = lamp;
  signal.result_valid = lamp == base::Lamp::kGreen || lamp == base::Lamp::kRed;
  signal.verdict = lamp == base::Lamp::kGreen ? base::Verdict::kAccept
                   : lamp == base::Lamp::kRed ? base::Verdict::kReject
                                              : base::Verdict::kNone;
  signal.reason = base::Reason::kAllWithinLimits;
  signal.sequence = sequence;
  signal.line = "SHAFT-1: Ra 0.41 um";
  return signal;
}

TEST(TerminalLamp, ShapeAndWordCarryTheMeaningToo) {
  const auto coloured = [](base::Lamp lamp) { return lamp_line(showing(lamp), TerminalLook::kColour); };
  EXPECT_EQ(coloured(base::Lamp::kGreen), "\x1b[1;32m\u25CF ACCEPT\x1b[0m  SHAFT-1: Ra 0.41 um");
  EXPECT_EQ(coloured(base::Lamp::kRed), "\x1b[1;31m\u25A0 REJECT\x1b[0m  SHAFT-1: Ra 0.41 um");
  EXPECT_EQ(coloured(base::Lamp::kBlueFlashing), "\x1b[1;34m\u25B2 ACT\x1b[0m  SHAFT-1: Ra 0.41 um");
  EXPECT_EQ(coloured(base::Lamp::kDark), "\x1b[2m\u25CB ----\x1b[0m  ready");
}

TEST(TerminalLamp, PlainIsWordsInAsciiOnly) {
  for (const base::Lamp lamp :
       {base::Lamp::kDark, base::Lamp::kGreen, base::Lamp::kRed, base::Lamp::kBlueFlashing}) {
    for (const char c : lamp_line(showing(lamp), TerminalLook::kPlain)) {
      EXPECT_TRUE(c >= 0x20 && c < 0x7F);
    }
  }
  EXPECT_EQ(lamp_line(showing(base::Lamp::kGreen), TerminalLook::kPlain), "ACCEPT  SHAFT-1: Ra 0.41 um");
}

TEST(TerminalLamp, AGreenLampWithoutALiveAcceptIsDark) {
  base::CellSignal signal = showing(base::Lamp::kGreen);
  signal.verdict = base::Verdict::kNone;
  EXPECT_EQ(lamp_line(signal, TerminalLook::kPlain).substr(0, 4), "----");
}

TEST(TerminalLamp, TextsCannotSteerTheTerminal) {
  base::CellSignal signal = showing(base::Lamp::kRed);
  signal.line = "SH\x1b[2J\nACCEPT\x7F";
  EXPECT_EQ(lamp_line(signal, TerminalLook::kPlain), "REJECT  SH [2J ACCEPT ");
}

TEST(TerminalLamp, ColourNeedsATerminalThatWantsIt) {
  const int terminal = ::posix_openpt(O_RDWR | O_NOCTTY | O_CLOEXEC);
  ASSERT_GE(terminal, 0);
  EXPECT_EQ(terminal_look(terminal, nullptr, "xterm"), TerminalLook::kColour);
  EXPECT_EQ(terminal_look(terminal, "", "xterm"), TerminalLook::kColour);
  EXPECT_EQ(terminal_look(terminal, "1", "xterm"), TerminalLook::kPlain);
  EXPECT_EQ(terminal_look(terminal, nullptr, "dumb"), TerminalLook::kPlain);
  EXPECT_EQ(terminal_look(terminal, nullptr, nullptr), TerminalLook::kPlain);
  ::close(terminal);
  std::array<int, 2> ends{};
  ASSERT_EQ(::pipe2(ends.data(), O_CLOEXEC), 0);
  EXPECT_EQ(terminal_look(ends[1], nullptr, "xterm"), TerminalLook::kPlain);
  ::close(ends[0]);
  ::close(ends[1]);
}

class LampOnAPipe : public ::testing::Test {
 protected:
  void SetUp() override {
    ASSERT_EQ(::pipe2(ends_.data(), O_CLOEXEC), 0);
    ASSERT_EQ(::fcntl(ends_[0], F_SETFL, O_NONBLOCK), 0);
    auto made = make_terminal_lamp(ends_[1], TerminalLook::kPlain);
    ASSERT_TRUE(made.has_value()) << made.error().detail;
    lamp_ = *std::move(made);
  }
  void TearDown() override {
    lamp_.reset();
    for (const int end : ends_) ::close(end);
  }
  std::string read_all() {
    std::string text;
    std::array<char, 65536> buffer{};
    ssize_t got = 0;
    while ((got = ::read(ends_[0], buffer.data(), buffer.size())) > 0)
      text.append(buffer.data(), static_cast<std::size_t>(got));
    return text;
  }
  std::array<int, 2> ends_{};
  std::unique_ptr<TerminalLamp> lamp_;
};

TEST_F(LampOnAPipe, OneLinePerChange) {
  for (int turn = 0; turn < 3; ++turn) ASSERT_TRUE(lamp_->apply(showing(base::Lamp::kDark)).has_value());
  for (int turn = 0; turn < 3; ++turn) ASSERT_TRUE(lamp_->apply(showing(base::Lamp::kGreen, 1)).has_value());
  ASSERT_TRUE(lamp_->apply(showing(base::Lamp::kGreen, 2)).has_value());
  EXPECT_EQ(read_all(), "----  ready\nACCEPT  SHAFT-1: Ra 0.41 um\nACCEPT  SHAFT-1: Ra 0.41 um\n");
}

TEST_F(LampOnAPipe, NeverBlocksCountsWhatItDropsAndThenShowsTheCurrentState) {
  const auto before = std::chrono::steady_clock::now();
  std::uint64_t sequence = 1;
  while (lamp_->dropped() < 5 && sequence < 100'000) {
    static_cast<void>(lamp_->apply(showing(base::Lamp::kGreen, ++sequence)));
  }
  EXPECT_EQ(lamp_->dropped(), 5U);
  EXPECT_EQ(lamp_->apply(showing(base::Lamp::kRed, ++sequence)).error().code, base::ErrorCode::kBusy);
  EXPECT_LT(std::chrono::steady_clock::now() - before, std::chrono::seconds(10));
  const std::string full = read_all();
  EXPECT_EQ(full.find("REJECT"), std::string::npos);
  ASSERT_TRUE(lamp_->apply(showing(base::Lamp::kRed, sequence)).has_value());
  const std::string after = read_all();
  EXPECT_TRUE(after.ends_with("REJECT  SHAFT-1: Ra 0.41 um\n")) << after;
  // Whole lines throughout, however the pipe filled up.
  const std::string all = full + after;
  std::size_t begin = 0;
  for (std::size_t end = all.find('\n'); end != std::string::npos;
       begin = end + 1, end = all.find('\n', begin)) {
    ASSERT_EQ(all.substr(begin + 6, end - begin - 6), "  SHAFT-1: Ra 0.41 um");
  }
}

TEST_F(LampOnAPipe, TheCallersDescriptorKeepsItsFlags) {
  EXPECT_EQ(::fcntl(ends_[1], F_GETFL) & O_NONBLOCK, 0);
}

TEST_F(LampOnAPipe, AReaderThatIsGoneIsAnErrorAndNoSignal) {
  ::close(ends_[0]);
  ends_[0] = ::open("/dev/null", O_RDONLY | O_CLOEXEC);
  const auto applied = lamp_->apply(showing(base::Lamp::kRed));
  ASSERT_FALSE(applied.has_value());
  EXPECT_EQ(applied.error().code, base::ErrorCode::kIo);
}

// A shell that sends two programs into one file gives them one place in it.
TEST(TerminalLampOpening, SharesItsPlaceInAFileWithOtherWriters) {
  std::string path = ::testing::TempDir() + "/lamp_XXXXXX";
  const int file = ::mkstemp(path.data());
  ASSERT_GE(file, 0);
  auto lamp = make_terminal_lamp(file, TerminalLook::kPlain);
  ASSERT_TRUE(lamp.has_value()) << lamp.error().detail;
  EXPECT_TRUE((*lamp)->apply(showing(base::Lamp::kGreen)).has_value());
  EXPECT_EQ(::write(file, "other\n", 6), 6);
  EXPECT_TRUE((*lamp)->apply(showing(base::Lamp::kRed, 2)).has_value());
  std::array<char, 256> content{};
  const auto size = ::pread(file, content.data(), content.size(), 0);
  ::close(file);
  ::unlink(path.c_str());
  EXPECT_EQ(std::string(content.data(), size < 0 ? 0 : static_cast<std::size_t>(size)),
            "ACCEPT  SHAFT-1: Ra 0.41 um\nother\nREJECT  SHAFT-1: Ra 0.41 um\n");
}

TEST(TerminalLampOpening, ADescriptorThatIsNoneIsAnError) {
  EXPECT_EQ(make_terminal_lamp(-1, TerminalLook::kPlain).error().code, base::ErrorCode::kIo);
}

// Counts what reaches the output behind a lease.
class CountingOutput final : public SignalOutput {
 public:
  struct Counts {
    int applied = 0;
    int safe = 0;
    int stopped = 0;
  };
  explicit CountingOutput(Counts& counts) : counts_(counts) {}
  [[nodiscard]] std::string_view name() const override { return "counting"; }
  [[nodiscard]] SelfFall falls_by_itself() const override { return {true, "it is only a counter"}; }
  base::Result<Applied> apply(const base::CellSignal& /*signal*/) override {
    ++counts_.applied;
    return Applied::kConfirmed;
  }
  void safe() override { ++counts_.safe; }
  void stop() override { ++counts_.stopped; }

 private:
  Counts& counts_;
};

TEST(Lease, ALapseMakesTheOutputSafeOnceAndTheNextStateShowsAgain) {
  boost::asio::io_context io;
  CountingOutput::Counts counts;
  auto output =
      make_leased(io.get_executor(), std::make_unique<CountingOutput>(counts), std::chrono::milliseconds(20));
  EXPECT_EQ(counts.safe, 1) << "safe at the start";
  for (int turn = 0; turn < 2; ++turn) {
    const int safe_before = counts.safe;
    const auto told = std::chrono::steady_clock::now();
    ASSERT_TRUE(output->apply({}).has_value());
    tests::run_until(io, [&] { return counts.safe > safe_before; });
    EXPECT_GE(std::chrono::steady_clock::now() - told, std::chrono::milliseconds(20));
    EXPECT_EQ(counts.safe, safe_before + 1);
  }
  EXPECT_EQ(counts.applied, 2);
}

TEST(Lease, RenewedInTimeItNeverLapsesAndDestroyedItIsQuiet) {
  boost::asio::io_context io;
  CountingOutput::Counts counts;
  auto output =
      make_leased(io.get_executor(), std::make_unique<CountingOutput>(counts), std::chrono::seconds(20));
  for (int turn = 0; turn < 1000; ++turn) {
    ASSERT_TRUE(output->apply({}).has_value());
    io.poll();
    io.restart();
  }
  EXPECT_EQ(counts.safe, 1);
  output.reset();
  io.run();
  EXPECT_EQ(counts.safe, 1);
}

}  // namespace
}  // namespace crestgate::driver
