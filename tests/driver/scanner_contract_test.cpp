// SPDX-License-Identifier: Apache-2.0
// What every scanner does, whatever it is connected by.
#include <memory>
#include <type_traits>

#include <gtest/gtest.h>

#include "scanner_bench.h"
#include "support/open_descriptors.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;
using Texts = std::vector<std::string>;

template <class Bench>
class ScannerContract : public ::testing::Test {
 protected:
  ScannerContract() : bench_(io_), scanner_(make(tests::quick_timing())), heard_(*scanner_) {}

  std::unique_ptr<Scanner> make(const ScanTiming& timing) {
    if constexpr (std::is_same_v<Bench, tests::KeyBench>) {
      return bench_.make(io_, {.path = {}, .grab = false, .timing = timing});
    } else {
      return bench_.make(timing);
    }
  }
  void take_another(const ScanTiming& timing) {
    scanner_ = make(timing);
    heard_.listen_to(*scanner_);
  }
  void until(const std::function<bool()>& done) { tests::run_until(io_, done); }
  void come_online() {
    scanner_->start();
    until([this] { return scanner_->online(); });
  }
  // Lets so much time pass that a retry or a label would have shown.
  void wait_a_while() {
    const auto end = std::chrono::steady_clock::now() + std::chrono::milliseconds(60);
    until([end] { return std::chrono::steady_clock::now() > end; });
  }

  boost::asio::io_context io_;
  Bench bench_;
  std::unique_ptr<Scanner> scanner_;
  tests::Heard heard_;
};

using Benches = ::testing::Types<tests::LineBench, tests::KeyBench>;
TYPED_TEST_SUITE(ScannerContract, Benches);

TYPED_TEST(ScannerContract, NothingIsOpenedBeforeTheStart) {
  const std::size_t before = tests::open_descriptors();
  this->wait_a_while();
  EXPECT_EQ(tests::open_descriptors(), before);
  EXPECT_FALSE(this->scanner_->online());
  EXPECT_FALSE(this->scanner_->offline_reason().detail.empty());
  EXPECT_EQ(this->heard_.changes, 0);
}

TYPED_TEST(ScannerContract, LabelsAreReportedInTheirOrder) {
  this->come_online();
  EXPECT_EQ(this->heard_.changes, 1);
  this->bench_.scan("P-1");
  this->bench_.scan("P-2;B 7");
  this->until([this] { return this->heard_.lines.size() == 2; });
  EXPECT_EQ(this->heard_.lines, (Texts{"P-1", "P-2;B 7"}));
  EXPECT_EQ(this->heard_.dropped, Texts{});
  EXPECT_EQ(this->scanner_->health().lines, 2U);
}

TYPED_TEST(ScannerContract, WhatCameBeforeThePortWasOpenedIsDiscarded) {
  this->bench_.scan("OLD");
  this->bench_.scan_half("HALF");
  this->come_online();
  this->bench_.scan("NEW");
  this->until([this] { return !this->heard_.lines.empty(); });
  EXPECT_EQ(this->heard_.lines, Texts{"NEW"});
  EXPECT_EQ(this->heard_.dropped, Texts{});
}

// The tail of a label that was scanned while the port was being opened.
TYPED_TEST(ScannerContract, WhatComesBeforeThePortFellSilentIsDiscarded) {
  auto timing = tests::quick_timing();
  timing.silence = std::chrono::milliseconds(200);
  this->take_another(timing);
  const std::size_t before = tests::open_descriptors();
  this->scanner_->start();
  this->until([before] { return tests::open_descriptors() > before; });
  this->bench_.scan("TAIL");
  this->until([this] { return this->scanner_->online(); });
  this->bench_.scan("WHOLE");
  this->until([this] { return !this->heard_.lines.empty(); });
  EXPECT_EQ(this->heard_.lines, Texts{"WHOLE"});
}

TYPED_TEST(ScannerContract, APortThatNeverFallsSilentIsNoScanner) {
  auto timing = tests::quick_timing();
  timing.silence = std::chrono::milliseconds(200);
  timing.silence_limit = std::chrono::milliseconds(400);
  this->take_another(timing);
  this->scanner_->start();
  this->until([this] {
    this->bench_.scan("X");
    return this->heard_.changes > 0;
  });
  EXPECT_EQ(this->scanner_->offline_reason().code, ErrorCode::kMalformed)
      << this->scanner_->offline_reason().detail;
  EXPECT_EQ(this->heard_.lines, Texts{});
  this->until([this] { return this->scanner_->online(); });
}

TYPED_TEST(ScannerContract, AHalfLabelIsNeverGluedToTheNextOne) {
  auto timing = tests::quick_timing();
  timing.patience = std::chrono::milliseconds(50);
  this->take_another(timing);
  this->come_online();
  this->bench_.scan_half("P-10");
  this->until([this] { return !this->heard_.dropped.empty(); });
  this->bench_.scan("P-42");
  this->until([this] { return !this->heard_.lines.empty(); });
  EXPECT_EQ(this->heard_.lines, Texts{"P-42"});
  EXPECT_EQ(this->scanner_->health().half, 1U);
  EXPECT_NE(this->heard_.dropped.front().find(this->bench_.path()), std::string::npos)
      << this->heard_.dropped.front();
}

TYPED_TEST(ScannerContract, AnOverlongLabelIsDroppedWhole) {
  this->come_online();
  this->bench_.scan(std::string(200, 'x'));
  this->bench_.scan(std::string(201, 'x'));
  this->bench_.scan("P-1");
  this->until([this] { return this->heard_.lines.size() == 2; });
  EXPECT_EQ(this->heard_.lines, (Texts{std::string(200, 'x'), "P-1"}));
  EXPECT_EQ(this->heard_.dropped.size(), 1U);
  EXPECT_EQ(this->scanner_->health().overlong, 1U);
}

TYPED_TEST(ScannerContract, ALabelCutByAPulledPortIsHalf) {
  this->come_online();
  this->bench_.scan_half("P-10");
  this->bench_.pull();
  this->until([this] { return !this->scanner_->online(); });
  EXPECT_EQ(this->scanner_->offline_reason().code, ErrorCode::kDisconnected)
      << this->scanner_->offline_reason().detail;
  this->bench_.plug();
  this->until([this] { return this->scanner_->online(); });
  this->bench_.scan("P-42");
  this->until([this] { return !this->heard_.lines.empty(); });
  EXPECT_EQ(this->heard_.lines, Texts{"P-42"});
  // A pseudo-terminal may take what was not fetched yet with it.
  EXPECT_LE(this->scanner_->health().half, 1U);
  EXPECT_EQ(this->scanner_->health().connections, 2U);
}

TYPED_TEST(ScannerContract, AMissingDeviceIsLookedForForEver) {
  this->bench_.pull();
  this->scanner_->start();
  this->until([this] { return this->heard_.changes > 0; });
  this->wait_a_while();
  EXPECT_EQ(this->heard_.changes, 1) << "the same reason again is no news";
  EXPECT_FALSE(this->scanner_->online());
  this->bench_.plug();
  this->until([this] { return this->scanner_->online(); });
}

TYPED_TEST(ScannerContract, AHundredReopeningsLeakNoDescriptor) {
  this->come_online();
  const std::size_t before = tests::open_descriptors();
  for (int turn = 0; turn < 100; ++turn) {
    this->bench_.pull();
    this->until([this] { return !this->scanner_->online(); });
    this->bench_.plug();
    this->until([this] { return this->scanner_->online(); });
    this->bench_.scan("P-" + std::to_string(turn));
    this->until([&] { return this->heard_.lines.size() == static_cast<std::size_t>(turn) + 1; });
  }
  EXPECT_EQ(tests::open_descriptors(), before);
  EXPECT_EQ(this->heard_.lines.back(), "P-99");
  EXPECT_EQ(this->scanner_->health().connections, 101U);
}

TYPED_TEST(ScannerContract, StopIsForGoodAndSilent) {
  const std::size_t before = tests::open_descriptors();
  this->come_online();
  this->bench_.scan("P-1");
  this->scanner_->stop();
  const int changes = this->heard_.changes;
  this->wait_a_while();
  EXPECT_FALSE(this->scanner_->online());
  EXPECT_EQ(this->heard_.changes, changes);
  EXPECT_EQ(tests::open_descriptors(), before);
  this->scanner_->start();
  this->wait_a_while();
  EXPECT_EQ(tests::open_descriptors(), before);
  // LineBench::scan lets the scanner run while it writes: the label may have come before the stop.
  EXPECT_LE(this->heard_.lines.size(), 1U);
}

TYPED_TEST(ScannerContract, AListenerMayDestroyTheScanner) {
  const std::size_t before = tests::open_descriptors();
  this->come_online();
  int calls = 0;
  this->scanner_->on_line([&](const std::string&) {
    ++calls;
    this->scanner_.reset();
  });
  this->bench_.scan("P-1");
  if (this->scanner_) this->bench_.scan("P-2");
  this->until([this] { return this->scanner_ == nullptr; });
  this->wait_a_while();
  EXPECT_EQ(calls, 1);
  EXPECT_EQ(tests::open_descriptors(), before);
}

TYPED_TEST(ScannerContract, AListenerOfChangesMayDestroyTheScanner) {
  const std::size_t before = tests::open_descriptors();
  this->scanner_->on_change([this] { this->scanner_.reset(); });
  this->scanner_->start();
  this->until([this] { return this->scanner_ == nullptr; });
  this->wait_a_while();
  EXPECT_EQ(tests::open_descriptors(), before);
}

TYPED_TEST(ScannerContract, MayBeDestroyedWhileItWaits) {
  const std::size_t before = tests::open_descriptors();
  this->come_online();
  this->scanner_.reset();
  this->wait_a_while();
  EXPECT_EQ(tests::open_descriptors(), before);
}

}  // namespace
}  // namespace crestgate::driver
