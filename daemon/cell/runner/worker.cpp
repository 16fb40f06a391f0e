// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/runner/worker.h"

#include <utility>

namespace crestgate::cell {

Worker::Worker(std::size_t capacity) : capacity_(capacity), thread_([this] { work(); }) {}

Worker::~Worker() {
  {
    const std::lock_guard lock(mutex_);
    stopping_ = true;
  }
  wake_.notify_one();
  thread_.join();
}

bool Worker::post(std::function<void()> job) {
  {
    const std::lock_guard lock(mutex_);
    if (jobs_.size() >= capacity_) return false;
    jobs_.push_back(std::move(job));
  }
  wake_.notify_one();
  return true;
}

void Worker::work() {
  std::unique_lock lock(mutex_);
  while (true) {
    wake_.wait(lock, [this] { return stopping_ || !jobs_.empty(); });
    if (jobs_.empty()) return;
    auto job = std::move(jobs_.front());
    jobs_.pop_front();
    lock.unlock();
    job();
    job = nullptr;  // what the job holds is released outside the lock
    lock.lock();
  }
}

}  // namespace crestgate::cell
