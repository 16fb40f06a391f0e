// SPDX-License-Identifier: Apache-2.0
#include "daemon/command/ask_cell.h"

#include <array>
#include <cerrno>
#include <cstring>

#include <nlohmann/json.hpp>
#include <sys/socket.h>
#include <sys/time.h>
#include <sys/un.h>
#include <unistd.h>

#include "daemon/cell/config/cell_description.h"

namespace crestgate::command {
namespace {

using Json = nlohmann::ordered_json;

constexpr int kPatienceSeconds = 10;

class Socket {
 public:
  Socket() : fd_(::socket(AF_UNIX, SOCK_STREAM | SOCK_CLOEXEC, 0)) {
    const timeval limit{.tv_sec = kPatienceSeconds, .tv_usec = 0};
    ::setsockopt(fd_, SOL_SOCKET, SO_RCVTIMEO, &limit, sizeof limit);
    ::setsockopt(fd_, SOL_SOCKET, SO_SNDTIMEO, &limit, sizeof limit);
  }
  ~Socket() { ::close(fd_); }
  Socket(const Socket&) = delete;
  Socket& operator=(const Socket&) = delete;

  [[nodiscard]] bool connect(const std::string& path) const {
    sockaddr_un address{};
    address.sun_family = AF_UNIX;
    if (path.size() >= sizeof address.sun_path) return false;
    std::memcpy(address.sun_path, path.c_str(), path.size());
    // sockaddr is what the call takes for every family.
    return ::connect(fd_, reinterpret_cast<const sockaddr*>(&address), sizeof address) == 0;  // NOLINT
  }

  [[nodiscard]] bool send(std::string_view text) const {
    while (!text.empty()) {
      const ssize_t sent = ::send(fd_, text.data(), text.size(), MSG_NOSIGNAL);
      if (sent < 0 && errno == EINTR) continue;
      if (sent <= 0) return false;
      text.remove_prefix(static_cast<std::size_t>(sent));
    }
    return true;
  }

  // Up to the first line end; what came so far when the other side closes or stays silent.
  [[nodiscard]] std::string receive_line() const {
    std::string line;
    std::array<char, 4096> buffer{};
    while (line.find('\n') == std::string::npos) {
      const ssize_t got = ::recv(fd_, buffer.data(), buffer.size(), 0);
      if (got < 0 && errno == EINTR) continue;
      if (got <= 0) break;
      line.append(buffer.data(), static_cast<std::size_t>(got));
    }
    return line;
  }

 private:
  int fd_;
};

}  // namespace

base::Result<Json> ask_cell(const std::string& cell_file, const Json& request) {
  const auto place = cell::read_control_place(cell_file);
  if (!place) return place.error();
  const Socket socket;
  if (!socket.connect(place->socket.string())) {
    const bool forbidden = errno == EACCES || errno == EPERM;
    return base::Error{base::ErrorCode::kNotFound, "cell '" + place->cell + "' " +
                                                       (forbidden ? "may not be asked by this user ("
                                                                  : "does not run (nobody answers on ") +
                                                       place->socket.string() + ")"};
  }
  Json named = request;
  named["cell"] = place->cell;  // whoever answers must be the one that is meant
  const std::string line = socket.send(named.dump() + "\n") ? socket.receive_line() : "";
  if (line.empty() || line.back() != '\n') {
    return base::Error{base::ErrorCode::kNoReply, "cell '" + place->cell + "' did not answer within " +
                                                      std::to_string(kPatienceSeconds) + " s"};
  }
  Json answer = Json::parse(line, nullptr, false);
  if (!answer.is_object() || !answer.contains("ok")) {
    return base::Error{base::ErrorCode::kMalformed,
                       "cell '" + place->cell + "' answered something unreadable"};
  }
  if (answer["ok"] != true) return base::Error{base::ErrorCode::kRefused, answer.value("why", "refused")};
  return answer;
}

}  // namespace crestgate::command
