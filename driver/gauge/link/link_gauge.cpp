// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/link/link_gauge.h"

#include <string_view>
#include <utility>

#include "driver/gauge/link/link_session.h"
#include "driver/gauge/link/link_traverse.h"

namespace crestgate::driver {
namespace {

using base::ErrorCode;
using link::Session;
using link::Turn;
using SessionPtr = std::shared_ptr<Session>;

constexpr double kUmPerNm = 1e-3;
constexpr double kUmPerPm = 1e-6;

std::string fault_text(std::uint16_t fault) {
  switch (fault) {
    case 0:
      return "";
    case 100:
      return "pickup not found";
    case 101:
      return "drive blocked";
    case 102:
      return "over-temperature";
    case 103:
      return "internal fault";
    default:
      return "fault " + std::to_string(fault);
  }
}

base::Error unexpected_answer(const Session& session, std::string_view request) {
  return {ErrorCode::kMalformed,
          session.where() + ": the answer to " + std::string(request) + " is of another kind"};
}

// Why a request cannot even begin.
base::Outcome may_ask(const Session& session) {
  if (session.failed()) {
    return base::Error{ErrorCode::kDisconnected, "the gauge is offline (" + session.failure().detail + ")"};
  }
  if (session.busy()) {
    return base::Error{ErrorCode::kBusy, session.where() + ": another request to the gauge is running"};
  }
  return base::Done{};
}

base::GaugeIdentity identity_of(const link::Identity& said) {
  base::GaugeIdentity identity;
  identity.kind = "link";
  identity.model = said.model;
  identity.serial_number = said.serial_number;
  identity.firmware = said.firmware;
  identity.boot_id = said.boot_id;
  if (said.pickup == 1) identity.pickup = base::Pickup::kSkidless;
  if (said.pickup == 2) identity.pickup = base::Pickup::kSkidded;
  if (said.tip_radius_nm != 0) identity.tip_radius_um = said.tip_radius_nm * kUmPerNm;
  if (said.range_nm != 0) identity.range_um = said.range_nm * kUmPerNm;
  return identity;
}

class LinkGauge final : public Gauge {
 public:
  LinkGauge(const boost::asio::any_io_executor& executor, std::unique_ptr<ByteStream> stream,
            LinkOptions options)
      : shared_(std::make_shared<Shared>()) {
    shared_->session = std::make_shared<Session>(executor, std::move(stream), std::move(options));
    shared_->session->on_failure([weak = std::weak_ptr<Shared>(shared_)] {
      if (const auto shared = weak.lock()) shared->changed(false);
    });
    shared_->session->start();
  }
  LinkGauge(const LinkGauge&) = delete;
  LinkGauge& operator=(const LinkGauge&) = delete;
  LinkGauge(LinkGauge&&) = delete;
  LinkGauge& operator=(LinkGauge&&) = delete;
  ~LinkGauge() override {
    shared_->listener = nullptr;
    LinkGauge::stop();
  }

  Awaitable<base::Result<base::GaugeIdentity>> identify() override { return ask_identity(shared_); }
  Awaitable<base::Result<GaugeState>> state() override { return ask_state(shared_->session); }
  Awaitable<base::Result<StillReading>> still_reading(std::chrono::milliseconds averaging) override {
    return ask_still(shared_->session, averaging);
  }
  Awaitable<base::Result<TraverseResult>> traverse(TraverseRequest request) override {
    return run(shared_->session, request);
  }
  Awaitable<base::Outcome> abort() override { return ask_abort(shared_->session); }
  Awaitable<base::Outcome> retract() override { return ask_retract(shared_->session); }
  [[nodiscard]] GaugeHealth health() const override { return shared_->session->health(); }
  [[nodiscard]] bool online() const override { return shared_->online; }
  [[nodiscard]] base::Error offline_reason() const override {
    const Session& session = *shared_->session;
    if (session.failed()) return session.failure();
    return {ErrorCode::kDisconnected, session.where() + ": the gauge has not been identified yet"};
  }
  void on_change(std::function<void()> listener) override { shared_->listener = std::move(listener); }
  void stop() override {
    shared_->session->fail({ErrorCode::kDisconnected, shared_->session->where() + ": closed by us"});
  }

 private:
  struct Shared {
    void changed(bool now_online) {
      if (online == now_online) return;
      online = now_online;
      if (listener) listener();
    }
    SessionPtr session;
    std::function<void()> listener;
    bool online = false;
  };

  static Awaitable<base::Result<base::GaugeIdentity>> ask_identity(std::shared_ptr<Shared> shared) {
    const SessionPtr session = shared->session;
    if (const auto may = may_ask(*session); !may) co_return may.error();
    const Turn turn(*session);
    auto asking = Session::ask(session, link::Hello{}, session->options().timing.answer);
    const auto answer = co_await std::move(asking);
    if (!answer) co_return answer.error();
    const auto* said = std::get_if<link::Identity>(&answer->body);
    if (said == nullptr) co_return unexpected_answer(*session, "HELLO");
    session->set_boot_id(said->boot_id);
    const std::string& expected = session->options().expected_serial_number;
    if (!expected.empty() && expected != said->serial_number) {
      const base::Error wrong{ErrorCode::kWrongIdentity, session->where() +
                                                             ": expected the gauge with serial number " +
                                                             expected + ", found " + said->serial_number};
      session->fail(wrong);
      co_return wrong;
    }
    shared->changed(true);
    co_return identity_of(*said);
  }

  static Awaitable<base::Result<GaugeState>> ask_state(SessionPtr session) {
    if (const auto may = may_ask(*session); !may) co_return may.error();
    const Turn turn(*session);
    auto asking = Session::ask(session, link::AskState{}, session->options().timing.answer);
    const auto answer = co_await std::move(asking);
    if (!answer) co_return answer.error();
    const auto* said = std::get_if<link::State>(&answer->body);
    if (said == nullptr) co_return unexpected_answer(*session, "STATE?");
    GaugeState state;
    state.moving = said->motion == link::kMoving;
    state.ready = said->motion == link::kIdle && said->fault == 0;
    state.stylus_clear = said->stylus_clear == 1;
    state.fault = said->fault;
    state.fault_text = fault_text(said->fault);
    state.height_um = said->height_counts * (said->height_step_pm * kUmPerPm);
    co_return state;
  }

  static Awaitable<base::Result<StillReading>> ask_still(SessionPtr session,
                                                         std::chrono::milliseconds averaging) {
    if (averaging < std::chrono::milliseconds(10) || averaging > std::chrono::milliseconds(2000)) {
      co_return base::Error{ErrorCode::kOutOfRange, "a still reading averages over 10 to 2000 ms, not " +
                                                        std::to_string(averaging.count()) + " ms"};
    }
    if (const auto may = may_ask(*session); !may) co_return may.error();
    const Turn turn(*session);
    link::AskStill request;
    request.averaging_ms = static_cast<std::uint16_t>(averaging.count());
    // The page's time is from the end of the averaging on: the gauge cannot answer before.
    auto asking = Session::ask(session, request, session->options().timing.answer + averaging);
    const auto answer = co_await std::move(asking);
    if (!answer) co_return answer.error();
    const auto* said = std::get_if<link::Still>(&answer->body);
    if (said == nullptr) co_return unexpected_answer(*session, "STILL?");
    if (said->height_counts == base::kMissingCount || said->height_counts == base::kOverRangeCount) {
      co_return base::Error{ErrorCode::kOutOfRange,
                            session->where() + ": the pickup stands outside its range"};
    }
    StillReading reading;
    reading.height_um = said->height_counts * (said->height_step_pm * kUmPerPm);
    reading.scatter_um = said->scatter_pm * kUmPerPm;
    reading.samples = said->samples;
    co_return reading;
  }

  static Awaitable<base::Result<TraverseResult>> run(SessionPtr session, TraverseRequest request) {
    if (const auto may = may_ask(*session); !may) co_return may.error();
    const Turn turn(*session);
    auto running = link::run_traverse(session, request);
    co_return co_await std::move(running);
  }

  // RETRACT or ABORT: only DONE with a clear stylus is good.
  static Awaitable<base::Outcome> clear_stylus(SessionPtr session, link::Body request, std::string name) {
    const Turn turn(*session);
    auto asking = Session::ask(session, std::move(request), session->options().timing.retract);
    const auto answer = co_await std::move(asking);
    if (!answer) co_return answer.error();
    const auto* said = std::get_if<link::Done>(&answer->body);
    session->forget_pulse();
    if (said == nullptr) co_return unexpected_answer(*session, name);
    if (said->stylus_clear != 1) {
      co_return base::Error{ErrorCode::kDeviceFault,
                            session->where() + ": after " + name + " the stylus is not clear of the part"};
    }
    co_return base::Done{};
  }

  static Awaitable<base::Outcome> ask_retract(SessionPtr session) {
    if (const auto may = may_ask(*session); !may) co_return may.error();
    auto clearing = clear_stylus(session, link::Retract{}, "RETRACT");
    co_return co_await std::move(clearing);
  }

  static Awaitable<base::Outcome> ask_abort(SessionPtr session) {
    while (session->busy() && !session->failed()) {
      session->want_abort(true);
      auto waiting = Session::wait_idle(session);
      co_await std::move(waiting);
    }
    session->want_abort(false);
    if (const auto may = may_ask(*session); !may) co_return may.error();
    auto clearing = clear_stylus(session, link::Abort{}, "ABORT");
    co_return co_await std::move(clearing);
  }

  std::shared_ptr<Shared> shared_;
};

}  // namespace

std::unique_ptr<Gauge> make_link_gauge(const boost::asio::any_io_executor& executor,
                                       std::unique_ptr<ByteStream> stream, LinkOptions options) {
  return std::make_unique<LinkGauge>(executor, std::move(stream), std::move(options));
}

}  // namespace crestgate::driver
