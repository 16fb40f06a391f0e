// SPDX-License-Identifier: Apache-2.0
#include "driver/signal/lease.h"

#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/steady_timer.hpp>

namespace crestgate::driver {
namespace {

class LeasedOutput final : public SignalOutput {
 public:
  LeasedOutput(const boost::asio::any_io_executor& executor, std::unique_ptr<SignalOutput> output,
               std::chrono::milliseconds lease)
      : timer_(executor), output_(std::move(output)), lease_(lease) {
    output_->safe();
  }

  [[nodiscard]] std::string_view name() const override { return output_->name(); }
  [[nodiscard]] SelfFall falls_by_itself() const override { return output_->falls_by_itself(); }

  base::Result<Applied> apply(const base::CellSignal& signal) override {
    if (!stopped_) arm();
    return output_->apply(signal);
  }
  void safe() override {
    timer_.cancel();
    output_->safe();
  }
  void stop() override {
    stopped_ = true;
    timer_.cancel();
    output_->stop();
  }

 private:
  void arm() {
    timer_.expires_after(lease_);  // cancels the last wait
    // The flag outlives us: a wait that was cancelled by our destruction is still delivered.
    timer_.async_wait(
        [this, alive = std::weak_ptr<bool>(alive_), turn = ++turn_](const boost::system::error_code& error) {
          if (error || alive.expired() || turn != turn_ || stopped_) return;
          output_->safe();
        });
  }

  boost::asio::steady_timer timer_;
  std::unique_ptr<SignalOutput> output_;
  std::chrono::milliseconds lease_;
  std::shared_ptr<bool> alive_ = std::make_shared<bool>(true);
  std::uint64_t turn_ = 0;
  bool stopped_ = false;
};

}  // namespace

std::unique_ptr<SignalOutput> make_leased(const boost::asio::any_io_executor& executor,
                                          std::unique_ptr<SignalOutput> output,
                                          std::chrono::milliseconds lease) {
  return std::make_unique<LeasedOutput>(executor, std::move(output), lease);
}

}  // namespace crestgate::driver
