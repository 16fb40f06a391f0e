// SPDX-License-Identifier: Apache-2.0
#pragma once
// One thread that does what may block (the disk) or takes long (analysis), so that the I/O thread never
// waits.

#include <condition_variable>
#include <cstddef>
#include <deque>
#include <functional>
#include <mutex>
#include <thread>

namespace crestgate::cell {

// Threads  post() from one thread; jobs run on the worker's own, one after the other, in order.
// Errors   a job must not throw: what it can meet, it turns into its answer.
class Worker {
 public:
  explicit Worker(std::size_t capacity);
  // Finishes the jobs already posted.
  ~Worker();
  Worker(const Worker&) = delete;
  Worker& operator=(const Worker&) = delete;

  // False when `capacity` jobs are waiting: the job is refused, not queued.
  [[nodiscard]] bool post(std::function<void()> job);

 private:
  void work();

  const std::size_t capacity_;
  std::mutex mutex_;
  std::condition_variable wake_;
  std::deque<std::function<void()>> jobs_;
  bool stopping_ = false;
  std::thread thread_;
};

}  // namespace crestgate::cell
