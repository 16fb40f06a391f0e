// SPDX-License-Identifier: Apache-2.0
// The real thing: a pseudo-terminal and sockets, opened as a client would open them.

#include <array>
#include <chrono>
#include <cstring>
#include <deque>
#include <filesystem>
#include <future>
#include <thread>

#include <arpa/inet.h>
#include <fcntl.h>
#include <gtest/gtest.h>
#include <netinet/in.h>
#include <poll.h>
#include <sys/inotify.h>
#include <sys/socket.h>
#include <termios.h>
#include <unistd.h>

#include "simulator/link/pseudo_terminal.h"
#include "simulator/link/server.h"
#include "simulator/scenario/bench.h"
#include "simulator/scenario/control.h"

namespace crestgate::simulator {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view kWorks = R"(scenario 1
gauge serial SN-77 speed_scale 50
zone 1 a face_mm 8
surface good ridges rq_um 0.3 correlation_um 10
part P-1 zone 1 good
)";

constexpr int kPatienceMs = 10'000;  // of each wait; only a failing test takes it

// A descriptor with patience.
class Client {
 public:
  explicit Client(int fd) : fd_(fd) {}
  Client(const Client&) = delete;
  Client& operator=(const Client&) = delete;
  ~Client() { ::close(fd_); }

  void send(ByteView bytes) const {
    ASSERT_EQ(::write(fd_, bytes.data(), bytes.size()), static_cast<ssize_t>(bytes.size()));
  }
  // What arrives next; empty when the peer is gone or nothing comes.
  [[nodiscard]] Bytes receive() const {
    pollfd waiting{.fd = fd_, .events = POLLIN, .revents = 0};
    if (::poll(&waiting, 1, kPatienceMs) != 1) return {};
    Bytes bytes(4096);
    const ssize_t size = ::read(fd_, bytes.data(), bytes.size());
    bytes.resize(size > 0 ? static_cast<std::size_t>(size) : 0);
    return bytes;
  }

 private:
  int fd_;
};

// The first message of a kind, whatever comes between.
template <class T>
std::optional<T> wait_for(const Client& client, Receiver& receiver, std::vector<Received>& all) {
  const auto deadline = std::chrono::steady_clock::now() + std::chrono::milliseconds(kPatienceMs);
  std::size_t next = 0;
  while (std::chrono::steady_clock::now() < deadline) {  // pulses alone are no progress
    for (; next < all.size(); ++next) {
      if (const T* found = std::get_if<T>(&all[next].message)) return *found;
    }
    const Bytes bytes = client.receive();
    if (bytes.empty()) return std::nullopt;
    for (Received& received : receiver.feed(bytes)) all.push_back(std::move(received));
  }
  return std::nullopt;
}

int open_raw(const std::string& path) {
  const int fd = ::open(path.c_str(), O_RDWR | O_NOCTTY | O_CLOEXEC);
  if (fd < 0) return fd;
  termios settings{};
  ::tcgetattr(fd, &settings);
  ::cfmakeraw(&settings);
  ::cfsetspeed(&settings, B115200);
  ::tcsetattr(fd, TCSANOW, &settings);
  ::tcflush(fd, TCIOFLUSH);
  return fd;
}

int connect_to(std::uint16_t port) {
  const int fd = ::socket(AF_INET, SOCK_STREAM | SOCK_CLOEXEC, 0);
  sockaddr_in address{};
  address.sin_family = AF_INET;
  address.sin_port = htons(port);
  address.sin_addr.s_addr = htonl(INADDR_LOOPBACK);
  if (::connect(fd, reinterpret_cast<const sockaddr*>(&address), sizeof address) != 0) return -1;
  return fd;
}

// Waits for a link to come and go.
class LinkWatch {
 public:
  explicit LinkWatch(const fs::path& link) : name_(link.filename()), fd_(::inotify_init1(IN_CLOEXEC)) {
    ::inotify_add_watch(fd_, link.parent_path().c_str(), IN_CREATE | IN_DELETE);
  }
  LinkWatch(const LinkWatch&) = delete;
  LinkWatch& operator=(const LinkWatch&) = delete;
  ~LinkWatch() { ::close(fd_); }

  // Takes events up to the next one of this kind; false when none comes.
  [[nodiscard]] bool sees(std::uint32_t kind) {
    while (true) {
      while (!masks_.empty()) {
        const std::uint32_t mask = masks_.front();
        masks_.pop_front();
        if ((mask & kind) != 0U) return true;
      }
      pollfd waiting{.fd = fd_, .events = POLLIN, .revents = 0};
      if (::poll(&waiting, 1, kPatienceMs) != 1) return false;
      std::array<char, 4096> buffer{};
      const ssize_t size = ::read(fd_, buffer.data(), buffer.size());
      for (ssize_t at = 0; at < size;) {
        inotify_event event{};
        std::memcpy(&event, buffer.data() + at, sizeof event);
        if (name_ == buffer.data() + at + sizeof event) masks_.push_back(event.mask);
        at += static_cast<ssize_t>(sizeof event + event.len);
      }
    }
  }

 private:
  std::string name_;
  int fd_;
  std::deque<std::uint32_t> masks_;
};

class Serving : public ::testing::Test {
 protected:
  void serve_on(const ServeOptions& options) {
    std::promise<std::pair<std::string, std::uint16_t>> ready;
    auto told = ready.get_future();
    server_ = std::thread([this, options, &ready] {
      Bench bench(*parse_scenario(kWorks, "works"));
      Gauge gauge(bench.scenario().gauge, bench, serving_clock());
      Line line(gauge, bench, {});
      ControlDesk desk(bench, gauge);
      const ServeEvents events{.on_ready =
                                   [&ready](const std::string& port, std::optional<std::uint16_t> control) {
                                     ready.set_value({port, control.value_or(0)});
                                   },
                               .answer = [&desk](std::string_view command) { return desk.answer(command); },
                               .quit_wanted = [&desk] { return desk.quit_wanted(); }};
      served_ = serve(line, options, events);
    });
    std::tie(port_, control_port_) = told.get();
  }

  std::string command(const std::string& text) const {
    const Client control(connect_to(control_port_));
    const std::string line = text + "\n";
    control.send(Bytes(line.begin(), line.end()));
    std::string answer;
    while (answer.empty() || answer.back() != '\n') {
      const Bytes bytes = control.receive();
      if (bytes.empty()) break;
      answer.append(bytes.begin(), bytes.end());
    }
    return answer;
  }

  void stop() {
    if (!server_.joinable()) return;
    EXPECT_EQ(command("quit"), "ok quitting\n");
    server_.join();
    EXPECT_TRUE(served_.has_value());
  }
  void TearDown() override { stop(); }

  // HELLO, a traverse with a part, RETRACT: over whatever descriptor.
  void measure(const Client& client) {
    Receiver receiver;
    std::vector<Received> all;
    client.send(Bytes{0});
    client.send(wire_of(frame_of(1, Hello{})));
    const auto identity = wait_for<Identity>(client, receiver, all);
    ASSERT_TRUE(identity.has_value());
    EXPECT_EQ(identity->serial_number, "SN-77");
    EXPECT_EQ(command("place P-1").substr(0, 10), "ok part P-");
    client.send(wire_of(frame_of(
        2, StartTraverse{.traverse_id = 5, .length_um = 5600, .spacing_nm = 500, .speed_um_per_s = 500})));
    const auto finished = wait_for<Finished>(client, receiver, all);
    ASSERT_TRUE(finished.has_value());
    EXPECT_EQ(finished->samples, 11'200U);
    EXPECT_EQ(finished->quality, 0);
    std::vector<std::int32_t> heights;
    for (const Received& received : all) {
      if (const Chunk* chunk = std::get_if<Chunk>(&received.message)) {
        EXPECT_EQ(chunk->first_sample, heights.size());
        heights.insert(heights.end(), chunk->height_counts.begin(), chunk->height_counts.end());
      }
    }
    EXPECT_EQ(heights.size(), 11'200U);
    EXPECT_EQ(check_of(wire_heights(heights)), finished->check);
    client.send(wire_of(frame_of(3, Retract{})));
    const auto done = wait_for<Lifted>(client, receiver, all);
    ASSERT_TRUE(done.has_value());
    EXPECT_EQ(done->stylus_clear, 1);
    EXPECT_EQ(receiver.counters(), ReceiveCounters{});
  }

  std::thread server_;
  base::Outcome served_ = base::Done{};
  std::string port_;
  std::uint16_t control_port_ = 0;
  const std::string link_ = fs::path(::testing::TempDir()) / ("gauge_" + std::to_string(::getpid()));
};

TEST_F(Serving, APseudoTerminalSpeaksTheLinkAndItsLinkGoesAtTheEnd) {
  serve_on({.pty_path = link_, .tcp_port = std::nullopt, .control_port = 0});
  EXPECT_EQ(port_, link_);
  ASSERT_TRUE(fs::is_symlink(link_));
  {
    const Client client(open_raw(link_));
    measure(client);
  }
  stop();
  EXPECT_FALSE(fs::is_symlink(link_));
}

TEST_F(Serving, APseudoTerminalServesOneClientAfterTheOther) {
  serve_on({.pty_path = link_, .tcp_port = std::nullopt, .control_port = 0});
  for (std::uint16_t visit = 1; visit <= 2; ++visit) {
    const Client client(open_raw(link_));
    Receiver receiver;
    std::vector<Received> all;
    client.send(Bytes{0});
    client.send(wire_of(frame_of(visit, Hello{})));
    EXPECT_TRUE(wait_for<Identity>(client, receiver, all).has_value());
  }
}

TEST_F(Serving, ASocketSpeaksTheLink) {
  serve_on({.pty_path = std::nullopt, .tcp_port = 0, .control_port = 0});
  const Client client(connect_to(static_cast<std::uint16_t>(std::stoi(port_.substr(port_.find(':') + 1)))));
  measure(client);
}

TEST_F(Serving, ADisconnectTakesThePortAwayAndBringsItBack) {
  serve_on({.pty_path = link_, .tcp_port = std::nullopt, .control_port = 0});
  LinkWatch watch(link_);
  EXPECT_EQ(command("fault disconnect after 150 for_s 0.3").substr(0, 2), "ok");
  {
    const Client client(open_raw(link_));
    client.send(Bytes{0});
    client.send(wire_of(frame_of(
        2, StartTraverse{.traverse_id = 5, .length_um = 5600, .spacing_nm = 500, .speed_um_per_s = 500})));
    while (!client.receive().empty()) {  // until the far side is gone
    }
  }
  ASSERT_TRUE(watch.sees(IN_DELETE));
  ASSERT_TRUE(watch.sees(IN_CREATE));
  const Client client(open_raw(link_));
  Receiver receiver;
  std::vector<Received> all;
  client.send(Bytes{0});
  client.send(wire_of(frame_of(3, Hello{})));
  EXPECT_TRUE(wait_for<Identity>(client, receiver, all).has_value());
}

// A host that holds its descriptor and one that does not: the device is another one in both cases.
TEST_F(Serving, AReplugMayBringAnotherDeviceUnderAnotherLink) {
  serve_on({.pty_path = link_, .tcp_port = std::nullopt, .control_port = 0});
  const std::string elsewhere = link_ + "_elsewhere";
  const fs::path first_device = fs::read_symlink(link_);
  LinkWatch watch(elsewhere);
  EXPECT_EQ(command("fault disconnect after 150 for_s 0.2 device other link other " + elsewhere).substr(0, 2),
            "ok");
  {
    const Client client(open_raw(link_));
    client.send(Bytes{0});
    client.send(wire_of(frame_of(
        2, StartTraverse{.traverse_id = 5, .length_um = 5600, .spacing_nm = 500, .speed_um_per_s = 500})));
    while (!client.receive().empty()) {  // until the far side is gone
    }
  }
  ASSERT_TRUE(watch.sees(IN_CREATE));
  EXPECT_FALSE(fs::is_symlink(link_));
  EXPECT_NE(fs::read_symlink(elsewhere), first_device);
  const Client client(open_raw(elsewhere));
  Receiver receiver;
  std::vector<Received> all;
  client.send(Bytes{0});
  client.send(wire_of(frame_of(3, Hello{})));
  EXPECT_TRUE(wait_for<Identity>(client, receiver, all).has_value());
  stop();
  EXPECT_FALSE(fs::is_symlink(elsewhere));
}

// What is said to a gauge that hangs stays in the port and is answered when it lives again.
TEST_F(Serving, AHungGaugeKeepsItsPortOpenAndReadsNothing) {
  serve_on({.pty_path = link_, .tcp_port = std::nullopt, .control_port = 0});
  EXPECT_EQ(command("fault hang after 150 for_s 0.7").substr(0, 2), "ok");
  const Client client(open_raw(link_));
  Receiver receiver;
  std::vector<Received> all;
  client.send(Bytes{0});
  client.send(wire_of(frame_of(
      2, StartTraverse{.traverse_id = 5, .length_um = 5600, .spacing_nm = 500, .speed_um_per_s = 500})));
  ASSERT_TRUE(wait_for<Chunk>(client, receiver, all).has_value());
  const auto asked_at = std::chrono::steady_clock::now();
  client.send(wire_of(frame_of(3, AskState{})));
  ASSERT_TRUE(wait_for<StateReport>(client, receiver, all).has_value());
  EXPECT_GT(std::chrono::steady_clock::now() - asked_at, std::chrono::milliseconds(300));
  ASSERT_TRUE(wait_for<Finished>(client, receiver, all).has_value());
  EXPECT_EQ(receiver.counters(), ReceiveCounters{});
}

TEST_F(Serving, APortThatCannotBeHadIsNamed) {
  const std::string missing = "/nowhere/at/all/gauge";
  Bench bench(*parse_scenario(kWorks, "works"));
  Gauge gauge(bench.scenario().gauge, bench, serving_clock());
  Line line(gauge, bench, {});
  const ServeEvents events{.on_ready = [](const std::string&, std::optional<std::uint16_t>) { FAIL(); },
                           .answer = [](std::string_view) { return std::string(); },
                           .quit_wanted = [] { return false; }};
  const base::Outcome served =
      serve(line, {.pty_path = missing, .tcp_port = std::nullopt, .control_port = std::nullopt}, events);
  ASSERT_FALSE(served.has_value());
  EXPECT_EQ(served.error().detail, missing + ": cannot link it: No such file or directory");
}

TEST(PseudoTerminalPath, AFileThatIsNoLinkIsLeftAlone) {
  const fs::path path = fs::path(::testing::TempDir()) / ("taken_" + std::to_string(::getpid()));
  fs::create_directory(path);
  const auto opened = PseudoTerminal::open(path.string());
  ASSERT_FALSE(opened.has_value());
  EXPECT_EQ(opened.error().code, base::ErrorCode::kBusy);
  EXPECT_TRUE(fs::is_directory(path));
  fs::remove(path);
}

TEST(PseudoTerminalPath, ALinkThatWasLeftBehindIsReplaced) {
  const fs::path path = fs::path(::testing::TempDir()) / ("stale_" + std::to_string(::getpid()));
  fs::create_symlink("/dev/pts/nothing", path);
  {
    const auto opened = PseudoTerminal::open(path.string());
    ASSERT_TRUE(opened.has_value());
    EXPECT_TRUE(fs::is_character_file(path));
  }
  EXPECT_FALSE(fs::is_symlink(path));
}

}  // namespace
}  // namespace crestgate::simulator
