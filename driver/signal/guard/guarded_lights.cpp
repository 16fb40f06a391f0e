// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/guard/guarded_lights.h"

#include <array>
#include <chrono>
#include <optional>
#include <string_view>
#include <utility>

#include "base/expects.h"
#include "driver/signal/guard/guard_frame.h"
#include "driver/signal/guard/guard_process.h"
#include "driver/stream/port_list.h"

namespace crestgate::driver {
namespace {

using std::chrono::milliseconds;
using Clock = std::chrono::steady_clock;  // CLOCK_MONOTONIC, as the guard's

constexpr milliseconds kPrompt{150};      // so long an answer is simply under way
constexpr milliseconds kSilence{400};     // then it is killed
constexpr milliseconds kStarting{2000};   // for its first answer: it may have to open a slow device
constexpr milliseconds kFirstPause{200};  // before another one is started
constexpr milliseconds kPause{1000};
constexpr milliseconds kLasts{5000};    // one that lived so long was a good one
constexpr milliseconds kFarewell{400};  // for the guard to end
constexpr milliseconds kLastOff{100};   // for switching off when it left that undone

std::uint32_t stamp_of(Clock::time_point time) {
  return static_cast<std::uint32_t>(
      std::chrono::duration_cast<milliseconds>(time.time_since_epoch()).count());
}

std::uint16_t mask_of(std::span<const bool> lit) {
  std::uint16_t mask = 0;
  for (std::size_t i = 0; i < lit.size(); ++i)
    mask = static_cast<std::uint16_t>(mask | (lit[i] ? 1U << i : 0U));
  return mask;
}

struct DeviceFacts {
  std::string name;
  std::size_t lights = 0;
};

DeviceFacts facts_of(const GuardOptions& options) {
  if (const auto* gpio = std::get_if<GpioLightsOptions>(&options.device))
    return {"guarded digital lines of " + gpio->chip, gpio->lines.size()};
  const auto& relay = std::get<GuardedRelay>(options.device);
  return {"guarded " + relay.dialect.name + " on " + relay.port.text, relay.dialect.lights.size()};
}

class GuardedLights final : public LightDevice {
 public:
  explicit GuardedLights(GuardOptions options) : options_(std::move(options)), facts_(facts_of(options_)) {}
  GuardedLights(const GuardedLights&) = delete;
  GuardedLights& operator=(const GuardedLights&) = delete;
  ~GuardedLights() override { GuardedLights::stop(); }

  [[nodiscard]] std::string_view name() const override { return facts_.name; }
  [[nodiscard]] std::size_t light_count() const override { return facts_.lights; }
  [[nodiscard]] SelfFall falls_by_itself() const override {
    return {true, "a guard process drops it within 500 ms"};
  }

  base::Result<Applied> set(std::span<const bool> lit) override {
    CRESTGATE_EXPECTS(lit.size() == facts_.lights);
    if (stopped_) return base::Error{base::ErrorCode::kCancelled, facts_.name + ": stopped"};
    const Clock::time_point now = Clock::now();
    hear(now);
    look_after(now);
    if (!process_.channel_open()) {
      if (auto started = start(now); !started) return started.error();
    }
    if (!greeted_) return trouble_ ? base::Result<Applied>(*trouble_) : busy("the guard is starting");
    if (failing_) {
      return base::Error{base::ErrorCode::kIo, facts_.name +
                                                   ": the guard cannot switch the lights off; it tries "
                                                   "again every 50 ms. Look at the device"};
    }
    if (trouble_ && now < dark_until_) {
      static_cast<void>(ask(0, now));
      return *trouble_;
    }
    trouble_.reset();
    return ask(mask_of(lit), now);
  }

  void stop() override {
    if (std::exchange(stopped_, true)) return;
    const Clock::time_point limit = Clock::now() + kFarewell;
    if (process_.channel_open()) {
      static_cast<void>(process_.send({GuardSays::kSet, 0, stamp_of(Clock::now())}));
      process_.end_of_speech();
      while (process_.channel_open() && process_.wait_readable(limit)) hear(Clock::now());
      // One that still tries to switch off goes on trying: it is better at it than nobody.
      if (process_.channel_open() && !failing_) process_.kill();
      process_.close_channel();
    }
    process_.bury(limit);
    if (maybe_lit_ && !failing_ && !process_.left_all_off()) switch_off_without_guard();
  }

 private:
  [[nodiscard]] base::Error busy(const char* why) const {
    return {base::ErrorCode::kBusy, facts_.name + ": " + why};
  }

  // Takes in whatever the guard has said.
  void hear(Clock::time_point now) {
    GuardFrame frame;
    while (process_.channel_open()) {
      switch (process_.receive(frame)) {
        case Heard::kNothing:
          return;
        case Heard::kGarbage:
          process_.kill();
          return lose(now, "the guard says what it should not; it was killed");
        case Heard::kEnd:
          return lose(now, "the guard is gone");
        case Heard::kFrame:
          heard_at_ = now;
          failing_ = frame.kind == GuardSays::kFailing;
          if (frame.kind == GuardSays::kAre) answered(frame);
          break;
      }
    }
  }

  void answered(const GuardFrame& frame) {
    if (!std::exchange(greeted_, true)) {
      asked_ = frame;
      changed_ms_ = frame.stamp_ms;
    }
    answered_ = frame;
    if (asked_.lights == 0 && is_as_asked()) maybe_lit_ = false;
  }

  // An answer from before the last change says nothing: what came between may be lit this moment.
  [[nodiscard]] bool is_as_asked() const {
    return answered_.lights == asked_.lights &&
           static_cast<std::int32_t>(answered_.stamp_ms - changed_ms_) >= 0;
  }

  [[nodiscard]] bool owes_an_answer() const { return answered_.stamp_ms != asked_.stamp_ms; }

  void look_after(Clock::time_point now) {
    if (!process_.channel_open()) return;
    const bool late = !greeted_ && !failing_ && now - started_at_ > kStarting;
    const bool silent = (failing_ || (greeted_ && owes_an_answer())) && now - heard_at_ > kSilence;
    if (!late && !silent) return;
    process_.kill();
    lose(now, late ? "the guard did not say that all is off; it was killed"
                   : "the guard does not answer; it was killed");
  }

  void lose(Clock::time_point now, const char* why) {
    process_.close_channel();
    trouble_ = base::Error{base::ErrorCode::kDisconnected, facts_.name + ": " + why};
    const bool lasted = now - started_at_ >= kLasts;
    start_at_ = now + (maybe_lit_ || lasted || !failed_before_ ? kFirstPause : kPause);
    dark_until_ = now + kPause;
    failed_before_ = true;
    greeted_ = false;
    failing_ = false;
  }

  base::Outcome start(Clock::time_point now) {
    // The last one holds the device until it is gone for good.
    const bool was_buried = process_.last_words().has_value();
    const bool buried = process_.is_buried();
    if (buried && !was_buried && trouble_) {
      if (const auto words = process_.last_words()) trouble_->detail += " (" + *words + ")";
    }
    if (process_.left_all_off()) maybe_lit_ = false;
    if (now < start_at_) return *trouble_;
    if (!buried) {
      process_.kill();  // it has closed the channel and should have ended long ago
      return *trouble_;
    }
    if (const auto* relay = std::get_if<GuardedRelay>(&options_.device)) {
      auto found = find_port(relay->port.text);
      if (!found) return cannot_start(now, found.error());
      path_ = *std::move(found);
    }
    if (auto started = process_.start(options_.program, guard_words(options_, path_)); !started)
      return cannot_start(now, started.error());
    started_at_ = heard_at_ = now;
    return base::Done{};
  }

  // The guard has left whatever was: the same program, for this one thing. It tries until it succeeds, and a
  // failure to start it is one that the next start of the daemon makes up for.
  void switch_off_without_guard() {
    auto words = guard_words(options_, path_);
    words.insert(words.begin(), "off");
    if (!process_.start(options_.program, words)) return;
    process_.close_channel();
    process_.bury(Clock::now() + kLastOff);
  }

  base::Error cannot_start(Clock::time_point now, const base::Error& error) {
    start_at_ = now + kPause;
    trouble_ = base::Error{error.code, facts_.name + ": " + error.detail};
    return *trouble_;
  }

  base::Result<Applied> ask(std::uint16_t mask, Clock::time_point now) {
    const bool owed = owes_an_answer();
    if (!owed) heard_at_ = now;  // from here on it owes one
    const GuardFrame frame{GuardSays::kSet, mask, stamp_of(now)};
    // Two questions of the same millisecond cannot be told apart by their answers: a later one has to tell.
    if (mask != asked_.lights) changed_ms_ = frame.stamp_ms + (frame.stamp_ms == asked_.stamp_ms ? 1 : 0);
    if (!process_.send(frame)) return busy("the guard takes nothing");
    asked_ = frame;
    maybe_lit_ = maybe_lit_ || mask != 0;
    if (is_as_asked() && frame.stamp_ms - answered_.stamp_ms < kGuardLeaseMs) return Applied::kConfirmed;
    if (owed && now - heard_at_ > kPrompt) return busy("the guard has not answered yet");
    return Applied::kSent;
  }

  GuardOptions options_;
  DeviceFacts facts_;
  GuardProcess process_;
  std::string path_;        // of the serial port, when it was last found
  bool maybe_lit_ = false;  // something was to be lit, and nobody has said since that all is off
  bool greeted_ = false;    // it has said that all is off
  bool failing_ = false;    // it cannot switch off
  bool stopped_ = false;
  bool failed_before_ = false;
  GuardFrame asked_;
  GuardFrame answered_;
  std::uint32_t changed_ms_ = 0;  // the stamp since which the same lights are asked for
  Clock::time_point started_at_;
  Clock::time_point heard_at_;
  Clock::time_point start_at_;    // not before
  Clock::time_point dark_until_;  // after a loss: a fault must not make a flicker
  std::optional<base::Error> trouble_;
};

}  // namespace

base::Result<std::unique_ptr<LightDevice>> make_guarded_lights(GuardOptions options) {
  if (const auto checked = check_guarded_lights(options); !checked) return checked.error();
  std::unique_ptr<LightDevice> device = std::make_unique<GuardedLights>(std::move(options));
  return device;
}

}  // namespace crestgate::driver
