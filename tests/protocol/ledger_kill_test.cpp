// SPDX-License-Identifier: Apache-2.0
// A real process writes a real ledger and is killed with SIGKILL at random instants, again and again on the
// same ledger. What it had acknowledged through a pipe is there each time.

#include <chrono>
#include <csignal>
#include <random>
#include <sstream>

#include <gtest/gtest.h>
#include <spawn.h>
#include <sys/wait.h>
#include <unistd.h>

#include "protocol/ledger_support.h"

extern char** environ;

namespace crestgate::protocol {
namespace {

constexpr int kKills = 200;
constexpr const char* kSegmentBytes = "300000";

class Child {
 public:
  explicit Child(const std::string& directory) {
    int ends[2] = {-1, -1};
    EXPECT_EQ(::pipe(ends), 0);
    posix_spawn_file_actions_t actions;
    posix_spawn_file_actions_init(&actions);
    posix_spawn_file_actions_adddup2(&actions, ends[1], STDOUT_FILENO);
    posix_spawn_file_actions_addclose(&actions, ends[0]);
    posix_spawn_file_actions_addclose(&actions, ends[1]);
    std::string program = CRESTGATE_LEDGER_APPEND_HELPER;
    std::string folder = directory;
    std::string size = kSegmentBytes;
    char* arguments[] = {program.data(), folder.data(), size.data(), nullptr};
    EXPECT_EQ(::posix_spawn(&id_, program.c_str(), &actions, nullptr, arguments, environ), 0);
    posix_spawn_file_actions_destroy(&actions);
    ::close(ends[1]);
    output_ = ::fdopen(ends[0], "r");
  }
  Child(const Child&) = delete;
  Child& operator=(const Child&) = delete;
  Child(Child&&) = delete;
  Child& operator=(Child&&) = delete;
  ~Child() {
    if (output_ != nullptr) std::fclose(output_);
  }

  // Empty when the child has ended and everything it wrote was read.
  std::string line() {
    char* text = nullptr;
    std::size_t room = 0;
    const ssize_t length = ::getline(&text, &room, output_);
    std::string result = length > 0 ? std::string(text, static_cast<std::size_t>(length)) : std::string();
    std::free(text);
    // A line without its end was cut by the kill: it was not said.
    return result.ends_with('\n') ? result : std::string();
  }

  void kill() const { ::kill(id_, SIGKILL); }
  // The signal that ended it.
  [[nodiscard]] int wait() const {
    int status = 0;
    ::waitpid(id_, &status, 0);
    return WIFSIGNALED(status) ? WTERMSIG(status) : 0;
  }

 private:
  pid_t id_ = -1;
  FILE* output_ = nullptr;
};

base::Digest digest_from(const std::string& hex) {
  base::Digest digest;
  for (std::size_t i = 0; i < digest.bytes.size(); ++i) {
    digest.bytes[i] = static_cast<std::uint8_t>(std::stoul(hex.substr(2 * i, 2), nullptr, 16));
  }
  return digest;
}

void read_line(const std::string& line, Acknowledged& acknowledged) {
  std::istringstream words(line);
  std::string word;
  std::uint64_t number = 0;
  words >> word >> number;
  EXPECT_TRUE(word == "ack" || word == "open") << line;
  if (word != "ack") return;
  std::string hex;
  words >> hex;
  EXPECT_EQ(acknowledged.count(number), 0U) << "number " << number << " was given twice";
  acknowledged[number] = digest_from(hex);
}

void wait_busily(std::chrono::microseconds time) {
  const auto until = std::chrono::steady_clock::now() + time;
  while (std::chrono::steady_clock::now() < until) continue;
}

TEST(LedgerKill, TwoHundredTimesLosesNothingThatWasAcknowledged) {
  std::mt19937_64 random(test_seed());
  const TemporaryFolder folder;
  const std::filesystem::path ledger = folder.path() / "ledger";
  const auto files = posix_file_system();
  Acknowledged acknowledged;
  std::uint64_t repaired = 0;
  for (int turn = 0; turn < kKills; ++turn) {
    SCOPED_TRACE("kill " + std::to_string(turn));
    Child child(ledger.string());
    // Some die before or while they open, most between or inside appends.
    const auto lines = random() % 8;
    for (std::uint64_t i = 0; i < lines; ++i) read_line(child.line(), acknowledged);
    wait_busily(std::chrono::microseconds(random() % 3000));
    child.kill();
    for (std::string line = child.line(); !line.empty(); line = child.line()) read_line(line, acknowledged);
    ASSERT_EQ(child.wait(), SIGKILL);
    if (acknowledged.empty()) continue;
    const Contents contents = read_all(*files, ledger);
    EXPECT_TRUE(contents.damage.empty());
    expect_acknowledged(contents, acknowledged);
    if (contents.unfinished_bytes > 0) ++repaired;
    for (const Entry& entry : contents.entries) {
      EXPECT_EQ(std::get<base::Traverse>(*record_of(entry)).request_id, entry.number);
    }
    if (HasFailure()) return;
  }
  std::cout << acknowledged.size() << " records acknowledged, " << repaired << " torn tails\n";
  EXPECT_GT(acknowledged.size(), static_cast<std::size_t>(kKills));
  EXPECT_TRUE(open_writer(*files, 1U << 20U, ledger)->append(base::Event()).has_value());
}

}  // namespace
}  // namespace crestgate::protocol
