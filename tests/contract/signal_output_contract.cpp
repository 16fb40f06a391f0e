// SPDX-License-Identifier: Apache-2.0
// What driver/signal/signal_output.h promises, held against every implementation.

#include <array>
#include <chrono>
#include <functional>
#include <memory>
#include <string>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/io_context.hpp>
#include <fcntl.h>
#include <gtest/gtest.h>
#include <unistd.h>

#include "driver/modbus_device.h"
#include "driver/signal/gpio/gpio_lights.h"
#include "driver/signal/guard/guarded_lights.h"
#include "driver/signal/lease.h"
#include "driver/signal/lights/lights_output.h"
#include "driver/signal/modbus/coil_lights.h"
#include "driver/signal/modbus/modbus_server.h"
#include "driver/signal/modbus/plc_client.h"
#include "driver/signal/relay/relay_lights.h"
#include "driver/signal/signal_output.h"
#include "driver/signal/terminal/terminal_lamp.h"
#include "driver/stream/tcp_stream.h"
#include "support/accepted_signal.h"
#include "support/fake_gpio.h"
#include "support/relay_box.h"
#include "support/run_async.h"

namespace crestgate::driver {
namespace {

using tests::accepted;

using std::chrono::milliseconds;

// An output together with somebody who looks at it.
struct Watched {
  std::unique_ptr<SignalOutput> output;
  std::function<bool()> shows_accept;
  bool confirms = false;  // it says so when a state is shown; until then it is under way
};

// What the last line on a pipe says.
std::function<bool()> watch_pipe(int fd) {
  return [fd, last = std::string()]() mutable {
    std::array<char, 4096> buffer{};
    ssize_t got = 0;
    while ((got = ::read(fd, buffer.data(), buffer.size())) > 0)
      last.append(buffer.data(), static_cast<std::size_t>(got));
    const std::size_t end = last.rfind('\n');
    if (end == std::string::npos || end == 0) return false;
    const std::size_t begin = last.rfind('\n', end - 1) + 1;
    return last.compare(begin, 6, "ACCEPT") == 0;
  };
}

Watched terminal(boost::asio::io_context& /*io*/) {
  std::array<int, 2> ends{};
  if (::pipe2(ends.data(), O_CLOEXEC) != 0) throw std::runtime_error("no pipe");
  ::fcntl(ends[0], F_SETFL, O_NONBLOCK);
  auto lamp = make_terminal_lamp(ends[1], TerminalLook::kPlain);
  ::close(ends[1]);
  return {*std::move(lamp), watch_pipe(ends[0])};
}

Watched leased(boost::asio::io_context& io) {
  Watched inner = terminal(io);
  return {make_leased(io.get_executor(), std::move(inner.output), std::chrono::seconds(30)),
          inner.shows_accept};
}

// Reads the flags and the verdict; a server that is gone is not accepting.
bool ask_accept(boost::asio::io_context& io, std::uint16_t port) {
  const auto late = std::chrono::steady_clock::now() + std::chrono::seconds(10);
  auto stream = tests::run(io, open_tcp(io.get_executor(), TcpAddress{"127.0.0.1", port}, late));
  if (!stream) return false;
  const std::array<unsigned char, 12> request{0, 1, 0, 0, 0, 6, 1, 4, 0, 5, 0, 2};
  if (!tests::run(io, (*stream)->write(std::as_bytes(std::span(request)), late))) return false;
  std::array<std::byte, 64> answer{};
  const auto got = tests::run(io, (*stream)->read_some(answer, late));
  if (!got || *got != 13) return false;
  const bool bit = (std::to_integer<unsigned>(answer[10]) & 8U) != 0;
  const bool word = answer[11] == std::byte{0xA5} && answer[12] == std::byte{0xC3};
  EXPECT_EQ(bit, word);
  return bit && word;
}

Watched modbus(boost::asio::io_context& io) {
  ModbusServerOptions options;
  options.port = 0;
  auto server = open_modbus_server(io.get_executor(), options);
  if (!server) throw std::runtime_error(server.error().detail);
  const std::uint16_t port = (*server)->port();
  return {*std::move(server), [&io, port] { return ask_accept(io, port); }};
}

// Time stands still, so that a train of pulses stays where it begins: lit.
class StandingClock final : public base::Clock {
 public:
  [[nodiscard]] base::UtcInstant utc() const override { return {}; }
  [[nodiscard]] base::MonotonicInstant monotonic() const override { return {}; }
};
const StandingClock kClock;

Watched lights_over(base::Result<std::unique_ptr<LightDevice>> device, GreenCarried green,
                    std::function<bool()> shows_accept) {
  if (!device) throw std::runtime_error(device.error().detail);
  auto output = make_lights_output({{"BAD", Shows::kReject, false}, {"GOOD", Shows::kAccept, false}},
                                   *std::move(device), {.name = "tower", .green = green}, kClock);
  if (!output) throw std::runtime_error(output.error().detail);
  return {*std::move(output), std::move(shows_accept), true};
}

GpioLightsOptions lamp_lines() { return {.chip = "fake-lamps", .lines = {{"red", false}, {"green", false}}}; }

Watched pulsed_gpio(boost::asio::io_context& /*io*/) {
  auto gpio = std::make_shared<tests::FakeGpio>();
  return lights_over(make_gpio_lights(lamp_lines()), GreenCarried::kPulses,
                     [gpio] { return gpio->is_high(2); });
}

Watched guarded_gpio(boost::asio::io_context& /*io*/) {
  auto gpio = std::make_shared<tests::FakeGpio>();
  GuardOptions options{.device = lamp_lines(), .program = ""};
  return lights_over(make_guarded_lights(options), GreenCarried::kSteady,
                     [gpio] { return gpio->is_high(2); });
}

RelayDialect box_dialect() {
  RelayDialect dialect;
  dialect.name = "test box";
  dialect.lights = {{.on = "LAMP 0 1", .off = "LAMP 0 0", .reply = "LAMP 0 SET"},
                    {.on = "LAMP 1 1", .off = "LAMP 1 0", .reply = "LAMP 1 SET"}};
  dialect.reply_timeout = milliseconds(250);
  dialect.refresh = milliseconds(100);
  dialect.falls_after = milliseconds(1000);
  return dialect;
}

Watched relay(boost::asio::io_context& io) {
  auto box = std::make_shared<tests::RelayBox>(2);
  box->tell("falls 1000");
  PortOptions port;
  port.address = PortIdentity{box->path()};
  return lights_over(make_relay_lights(io.get_executor(), port, box_dialect()), GreenCarried::kSteady,
                     [box] { return box->lights()[1] == '1'; });
}

Watched guarded_relay(boost::asio::io_context& /*io*/) {
  auto box = std::make_shared<tests::RelayBox>(2);
  GuardOptions options{.device = GuardedRelay{.port = {box->path()}, .dialect = box_dialect()},
                       .program = ""};
  return lights_over(make_guarded_lights(options), GreenCarried::kSteady,
                     [box] { return box->lights()[1] == '1'; });
}

struct Kind {
  const char* name;
  Watched (*make)(boost::asio::io_context&);
};

class SignalOutputContract : public ::testing::TestWithParam<Kind> {
 public:
  SignalOutputContract(const SignalOutputContract&) = delete;
  SignalOutputContract& operator=(const SignalOutputContract&) = delete;

 protected:
  SignalOutputContract() : watched_(GetParam().make(io_)) {}
  ~SignalOutputContract() override { watched_.output.reset(); }  // before what it lights
  // Applies `signal` as the cycle does, again and again, until it is taken; and until it is confirmed, if it will be.
  bool takes(const base::CellSignal& signal) {
    return soon([&] {
      const auto applied = watched_.output->apply(signal);
      if (applied) return !watched_.confirms || *applied == Applied::kConfirmed;
      EXPECT_EQ(applied.error().code, base::ErrorCode::kBusy) << applied.error().detail;
      return false;
    });
  }
  // A guarded serial device is believed when it has taken the bytes: it has not acted on them yet.
  bool turns(bool accept) {
    return soon([&] { return watched_.shows_accept() == accept; });
  }
  bool soon(const std::function<bool()>& done) {
    const auto limit = std::chrono::steady_clock::now() + std::chrono::seconds(15);
    while (!done()) {
      if (std::chrono::steady_clock::now() > limit) return false;
      io_.restart();
      io_.run_for(milliseconds(2));
      ::usleep(watched_.confirms ? 1000 : 0);  // for those that live in another process
    }
    return true;
  }
  boost::asio::io_context io_;
  Watched watched_;
};

TEST_P(SignalOutputContract, SaysWhatBecomesOfItsGreen) {
  EXPECT_FALSE(watched_.output->name().empty());
  EXPECT_FALSE(watched_.output->falls_by_itself().sentence.empty());
}

TEST_P(SignalOutputContract, IsNotGreenBeforeItIsTold) { EXPECT_FALSE(watched_.shows_accept()); }

TEST_P(SignalOutputContract, ShowsAnAcceptHoweverOftenItIsTold) {
  for (int turn = 0; turn < 3; ++turn) {
    ASSERT_TRUE(takes(accepted()));
    EXPECT_TRUE(turns(true));
  }
}

TEST_P(SignalOutputContract, IsGreenForNothingElse) {
  const auto spoil = {
      +[](base::CellSignal& s) { s.result_valid = false; },
      +[](base::CellSignal& s) { s.verdict = base::Verdict::kReject; },
      +[](base::CellSignal& s) { s.verdict = base::Verdict::kNone; },
      +[](base::CellSignal& s) { s.bypass_active = true; },
  };
  for (const auto change : spoil) {
    ASSERT_TRUE(takes(accepted()));
    ASSERT_TRUE(turns(true));
    base::CellSignal signal = accepted();
    change(signal);
    ASSERT_TRUE(takes(signal));
    EXPECT_TRUE(turns(false));
  }
}

TEST_P(SignalOutputContract, SafeIsNotGreenUntilItIsToldAgain) {
  ASSERT_TRUE(takes(accepted()));
  ASSERT_TRUE(turns(true));
  watched_.output->safe();
  EXPECT_TRUE(turns(false));
  ASSERT_TRUE(takes(accepted()));
  EXPECT_TRUE(turns(true));
}

TEST_P(SignalOutputContract, StopIsNotGreenForGood) {
  ASSERT_TRUE(takes(accepted()));
  ASSERT_TRUE(turns(true));
  watched_.output->stop();
  watched_.output->stop();
  EXPECT_TRUE(turns(false));
  const auto late = watched_.output->apply(accepted());
  ASSERT_FALSE(late.has_value());
  EXPECT_EQ(late.error().code, base::ErrorCode::kCancelled);
  watched_.output->safe();
  EXPECT_FALSE(watched_.shows_accept());
}

// Destroyed without a stop: as by an error on the way.
TEST_P(SignalOutputContract, DestroyedItIsNotGreen) {
  ASSERT_TRUE(takes(accepted()));
  ASSERT_TRUE(turns(true));
  watched_.output.reset();
  EXPECT_TRUE(turns(false));
}

INSTANTIATE_TEST_SUITE_P(Outputs, SignalOutputContract,
                         ::testing::Values(Kind{"terminal", terminal}, Kind{"leased_terminal", leased},
                                           Kind{"modbus", modbus}, Kind{"pulsed_gpio", pulsed_gpio},
                                           Kind{"guarded_gpio", guarded_gpio}, Kind{"relay", relay},
                                           Kind{"guarded_relay", guarded_relay}),
                         [](const auto& tested) { return std::string(tested.param.name); });

// ---- outputs that are clients of a Modbus device ----

// Lets the output tell its device what it was told last: until several more requests came, or it is done.
void let_it_tell(boost::asio::io_context& io, const tests::ModbusDevice& device) {
  const std::size_t enough = device.requests().size() + 8;
  const auto limit = std::chrono::steady_clock::now() + std::chrono::seconds(10);
  io.restart();
  while (device.requests().size() < enough && !io.stopped() && std::chrono::steady_clock::now() < limit) {
    io.run_one_for(milliseconds(20));
  }
}

Watched modbus_client(boost::asio::io_context& io) {
  auto device = std::make_shared<tests::ModbusDevice>();
  PlcClientOptions options{.peer = {.host = "127.0.0.1", .port = device->port()}, .plc_block = {}};
  options.every = milliseconds(20);
  auto client = make_plc_client(io.get_executor(), options);
  if (!client) throw std::runtime_error(client.error().detail);
  tests::run_until(io, [&] { return !(*client)->trouble().has_value(); });
  return {*std::move(client), [&io, device] {
            let_it_tell(io, *device);
            const bool bit = (device->registers(5, 1)[0] & 8U) != 0;
            EXPECT_EQ(bit, device->registers(6, 1)[0] == 0xA5C3);
            return bit;
          }};
}

// One green light on a device.
class GreenLight final : public SignalOutput {
 public:
  explicit GreenLight(std::unique_ptr<LightDevice> device) : device_(std::move(device)) {}
  [[nodiscard]] std::string_view name() const override { return device_->name(); }
  [[nodiscard]] SelfFall falls_by_itself() const override { return device_->falls_by_itself(); }
  base::Result<Applied> apply(const base::CellSignal& signal) override {
    return device_->set(std::array<bool, 1>{driver::shows_accept(signal)});
  }
  void safe() override { static_cast<void>(device_->set(std::array<bool, 1>{false})); }
  void stop() override { device_->stop(); }

 private:
  std::unique_ptr<LightDevice> device_;
};

Watched coil_lights(boost::asio::io_context& io) {
  auto device = std::make_shared<tests::ModbusDevice>();
  CoilLightsOptions options{.peer = {.host = "127.0.0.1", .port = device->port()}, .lights = 1};
  options.refresh = milliseconds(20);
  auto lights = make_coil_lights(io.get_executor(), options);
  if (!lights) throw std::runtime_error(lights.error().detail);
  tests::run_until(io, [&] { return (*lights)->counters().confirmed > 0; });
  return {std::make_unique<GreenLight>(*std::move(lights)), [&io, device] {
            let_it_tell(io, *device);
            const bool lit = device->coils(0, 1).front();
            return lit;
          }};
}

INSTANTIATE_TEST_SUITE_P(ModbusClients, SignalOutputContract,
                         ::testing::Values(Kind{"modbus_client", modbus_client},
                                           Kind{"coil_lights", coil_lights}),
                         [](const auto& tested) { return std::string(tested.param.name); });

}  // namespace
}  // namespace crestgate::driver
