// SPDX-License-Identifier: Apache-2.0
#pragma once
// What every TCP socket of ours is set to.

#include <fcntl.h>
#include <netinet/in.h>
#include <netinet/tcp.h>
#include <sys/socket.h>

namespace crestgate::driver {

// Purpose  not inherited by children, small packets at once, and a peer that is gone is noticed: probes after 5 s of
//          silence, every 2 s, 3 times; unacknowledged data give up after 10 s. A peer whose process hangs
//          still answers probes: only heartbeats notice that.
// Errors   false: the kernel refused one of them.
inline bool tune_tcp_socket(int fd) {
  const auto set = [fd](int level, int name, int value) {
    return ::setsockopt(fd, level, name, &value, sizeof value) == 0;
  };
  return ::fcntl(fd, F_SETFD, FD_CLOEXEC) == 0 && set(IPPROTO_TCP, TCP_NODELAY, 1) &&
         set(SOL_SOCKET, SO_KEEPALIVE, 1) && set(IPPROTO_TCP, TCP_KEEPIDLE, 5) &&
         set(IPPROTO_TCP, TCP_KEEPINTVL, 2) && set(IPPROTO_TCP, TCP_KEEPCNT, 3) &&
         set(IPPROTO_TCP, TCP_USER_TIMEOUT, 10'000);
}

}  // namespace crestgate::driver
