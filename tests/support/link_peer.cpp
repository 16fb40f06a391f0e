// SPDX-License-Identifier: Apache-2.0
#include "support/link_peer.h"

#include <algorithm>
#include <array>
#include <deque>
#include <exception>
#include <utility>

#include <boost/asio/any_io_executor.hpp>
#include <boost/asio/as_tuple.hpp>
#include <boost/asio/awaitable.hpp>
#include <boost/asio/co_spawn.hpp>
#include <boost/asio/steady_timer.hpp>
#include <boost/asio/use_awaitable.hpp>

namespace crestgate::tests {
namespace {

namespace asio = boost::asio;
constexpr std::size_t kPerChunk = 150;

Wire stuffed(const Wire& content) {
  // Straight from the page: pieces cut at zeros, at most 254 long, nothing after a full last piece.
  Wire out;
  Wire piece;
  bool owed = true;
  for (const std::uint8_t byte : content) {
    owed = true;
    if (byte == 0) {
      out.push_back(static_cast<std::uint8_t>(piece.size() + 1));
      out.insert(out.end(), piece.begin(), piece.end());
      piece.clear();
    } else {
      piece.push_back(byte);
      if (piece.size() == 254) {
        out.push_back(255);
        out.insert(out.end(), piece.begin(), piece.end());
        piece.clear();
        owed = false;
      }
    }
  }
  if (owed) {
    out.push_back(static_cast<std::uint8_t>(piece.size() + 1));
    out.insert(out.end(), piece.begin(), piece.end());
  }
  return out;
}

bool unstuffed(const Wire& in, Wire& out) {
  out.clear();
  std::size_t at = 0;
  while (at < in.size()) {
    const std::size_t code = in[at];
    if (at + code > in.size()) return false;
    for (std::size_t i = 1; i < code; ++i) out.push_back(in[at + i]);
    at += code;
    if (code < 255 && at < in.size()) out.push_back(0);
  }
  return true;
}

std::uint64_t get_le(const Wire& bytes, std::size_t at, std::size_t count) {
  std::uint64_t value = 0;
  for (std::size_t i = 0; i < count; ++i) value |= std::uint64_t{bytes.at(at + i)} << (8 * i);
  return value;
}

void put_text(Wire& out, const std::string& text) {
  out.push_back(static_cast<std::uint8_t>(text.size()));
  out.insert(out.end(), text.begin(), text.end());
}

}  // namespace

std::uint32_t crc32c_bit_by_bit(std::span<const std::uint8_t> bytes) {
  std::uint32_t crc = 0xFFFFFFFFU;
  for (const std::uint8_t byte : bytes) {
    crc ^= byte;
    for (int bit = 0; bit < 8; ++bit) crc = (crc >> 1U) ^ ((crc & 1U) != 0 ? 0x82F63B78U : 0U);
  }
  return ~crc;
}

void put_le(Wire& out, std::uint64_t value, int bytes) {
  for (int i = 0; i < bytes; ++i) out.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
}

Wire link_frame(std::uint8_t type, std::uint16_t sequence, const Wire& body, std::uint8_t version) {
  Wire content{version, type};
  put_le(content, sequence, 2);
  put_le(content, body.size(), 2);
  content.insert(content.end(), body.begin(), body.end());
  put_le(content, crc32c_bit_by_bit(content), 4);
  Wire wire = stuffed(content);
  wire.push_back(0);
  return wire;
}

struct LinkPeer::Core : std::enable_shared_from_this<LinkPeer::Core> {
  Core(const asio::any_io_executor& on, std::unique_ptr<driver::ByteStream> far, PeerManners how)
      : executor(on), stream(std::move(far)), manners(std::move(how)), wake(on), tick(on) {}

  void frame(std::uint8_t type, std::uint16_t sequence, const Wire& body, bool damaged = false) {
    if (manners.silent) return;
    Wire wire = link_frame(type, sequence, body, manners.version);
    if ((damaged || (manners.damage_all && type != 0x90)) && wire.size() > 8) wire[7] ^= 0x55U;
    if (manners.garbage_between) {
      const Wire garbage{0x31, 0x32, 0x33, 0x00};
      send(garbage);
    }
    send(std::move(wire));
  }
  void send(Wire bytes) {
    out.push_back(std::move(bytes));
    wake.cancel();
  }

  void hear(const HeardFrame& heard_frame) {
    heard.push_back(heard_frame);
    if (heard_frame.type == 0x10) return;
    if (manners.ignore_first > 0) {
      --manners.ignore_first;
      return;
    }
    const bool again = heard_frame.sequence == last_sequence;
    last_sequence = heard_frame.sequence;
    answer(heard_frame, again);
  }

  void answer(const HeardFrame& request, bool again) {
    switch (request.type) {
      case 0x01:
        identity(request.sequence);
        break;
      case 0x02:
        state(request.sequence);
        break;
      case 0x03:
        still(request.sequence);
        break;
      case 0x04:
        traverse(request, again);
        break;
      case 0x05:
        resend(request);
        break;
      case 0x06:
      case 0x07: {
        down = manners.clear_after_retract != 1;
        running = false;
        const Wire body{manners.clear_after_retract};
        frame(0x87, request.sequence, body);
        break;
      }
      default:
        break;
    }
  }

  void identity(std::uint16_t sequence) {
    Wire body{0};
    put_le(body, manners.boot_id, 8);
    body.push_back(1);
    put_le(body, 2000, 4);
    put_le(body, 1000000, 4);
    put_le(body, 100, 4);
    put_le(body, 20000, 4);
    put_text(body, "Bench gauge");
    put_text(body, manners.serial_number);
    put_text(body, "1.0.3");
    // The host has just opened: without a zero first it would drop the answer (LINK.md section 1, rule 1).
    if (!manners.silent) send({0});
    frame(0x81, sequence, body);
  }
  void state(std::uint16_t sequence) {
    Wire body{static_cast<std::uint8_t>(manners.fault != 0 ? 2
                                        : running          ? 1
                                                           : 0),
              static_cast<std::uint8_t>(down ? 0 : 1)};
    put_le(body, manners.fault, 2);
    put_le(body, static_cast<std::uint32_t>(-2500), 4);
    put_le(body, 1000, 4);
    put_le(body, 60, 4);
    frame(0x82, sequence, body);
  }
  void still(std::uint16_t sequence) {
    Wire body;
    put_le(body, 1700, 4);
    put_le(body, 1000, 4);
    put_le(body, 4200, 4);
    put_le(body, 400, 2);
    frame(0x83, sequence, body);
  }
  void traverse(const HeardFrame& request, bool again) {
    if (manners.refuse != 0) {
      Wire body{0x04};
      put_le(body, manners.refuse, 2);
      put_text(body, "because of a test");
      frame(0x88, request.sequence, body);
      return;
    }
    id = static_cast<std::uint32_t>(get_le(request.body, 0, 4));
    if (manners.ignore_started > 0) {
      --manners.ignore_started;
    } else {
      Wire body;
      put_le(body, id, 4);
      put_le(body, manners.heights.size(), 4);
      put_le(body, manners.spacing_nm, 4);
      put_le(body, manners.height_step_pm, 4);
      put_le(body, manners.speed_um_per_s, 4);
      frame(0x84, request.sequence, body);
    }
    if (again && begun > 0) return;  // acts only once
    ++begun;
    down = true;
    running = true;
    if (manners.mute_after_started) {
      manners.pulses = false;
      manners.silent = true;
      return;
    }
    data(request.sequence);
  }
  void data(std::uint16_t sequence) {
    const std::size_t chunks = (manners.heights.size() + kPerChunk - 1) / kPerChunk;
    std::vector<std::size_t> order;
    for (std::size_t i = 0; i < chunks; ++i) order.push_back(i);
    if (manners.chunks_backwards) std::reverse(order.begin(), order.end());
    std::size_t sent = 0;
    for (const std::size_t i : order) {
      if (sent == manners.stall_after) return;
      if (sent == manners.restart_after) {
        ++manners.boot_id;
        return;
      }
      ++sent;
      if (manners.lose_chunks.contains(i)) continue;
      chunk(sequence, i * kPerChunk, kPerChunk);
      if (manners.chunks_twice) chunk(sequence, i * kPerChunk, kPerChunk);
    }
    if (manners.contradict) {
      ++manners.heights.front();
      chunk(sequence, 0, kPerChunk);
      --manners.heights.front();
    }
    running = false;
    finished(sequence);
  }
  void chunk(std::uint16_t sequence, std::size_t first, std::size_t most) {
    const std::size_t count = std::min(most, manners.heights.size() - first);
    Wire body;
    put_le(body, id, 4);
    put_le(body, first, 4);
    body.push_back(static_cast<std::uint8_t>(count));
    for (std::size_t i = 0; i < count; ++i)
      put_le(body, static_cast<std::uint32_t>(manners.heights[first + i]), 4);
    frame(0x85, sequence, body, manners.damage_chunks);
  }
  void finished(std::uint16_t sequence) {
    if (manners.lose_finished > 0) {
      --manners.lose_finished;
      return;
    }
    Wire all;
    for (const std::int32_t height : manners.heights) put_le(all, static_cast<std::uint32_t>(height), 4);
    Wire body;
    put_le(body, id, 4);
    put_le(body, manners.heights.size() - manners.finished_short_by, 4);
    put_le(body, manners.quality, 2);
    put_le(body, crc32c_bit_by_bit(all) ^ (manners.wrong_check ? 1U : 0U), 4);
    put_le(body, 11200, 4);
    frame(0x86, sequence, body);
  }
  void resend(const HeardFrame& request) {
    const auto wanted = static_cast<std::uint32_t>(get_le(request.body, 0, 4));
    const std::size_t first = get_le(request.body, 4, 4);
    const std::size_t count = get_le(request.body, 8, 4);
    if (wanted != id) {
      Wire body{0x05};
      put_le(body, 3, 2);
      put_text(body, "no such traverse");
      frame(0x88, request.sequence, body);
      return;
    }
    for (std::size_t at = first; at < first + count; at += kPerChunk) {
      chunk(request.sequence, at, std::min(kPerChunk, first + count - at));
    }
    finished(request.sequence);
  }
  void pulse() {
    Wire body;
    put_le(body, manners.boot_id, 8);
    body.push_back(running ? 1 : 0);
    body.push_back(down ? 0 : 1);
    frame(0x90, 0, body);
  }

  static asio::awaitable<void> listen(std::shared_ptr<Core> self) {
    std::array<std::byte, 512> buffer{};
    Wire run;
    while (true) {
      auto reading = self->stream->read_some(buffer, driver::Deadline::max());
      const auto got = co_await std::move(reading);
      if (!got) break;
      for (std::size_t i = 0; i < *got; ++i) {
        const auto byte = std::to_integer<std::uint8_t>(buffer[i]);
        if (byte != 0) {
          run.push_back(byte);
          continue;
        }
        self->take_run(run);
        run.clear();
      }
    }
    self->closed = true;
    self->wake.cancel();
    self->tick.cancel();
  }
  void take_run(const Wire& run) {
    Wire content;
    if (run.empty() || !unstuffed(run, content) || content.size() < 10) return;
    const Wire head_and_body(content.begin(), content.end() - 4);
    if (crc32c_bit_by_bit(head_and_body) != get_le(content, content.size() - 4, 4)) return;
    HeardFrame heard_frame;
    heard_frame.type = content[1];
    heard_frame.sequence = static_cast<std::uint16_t>(get_le(content, 2, 2));
    heard_frame.body.assign(content.begin() + 6, content.end() - 4);
    hear(heard_frame);
  }
  static asio::awaitable<void> speak(std::shared_ptr<Core> self) {
    while (!self->closed) {
      if (self->out.empty()) {
        self->wake.expires_at(driver::Deadline::max());
        co_await self->wake.async_wait(asio::as_tuple(asio::use_awaitable));
        continue;
      }
      const Wire next = std::move(self->out.front());
      self->out.pop_front();
      auto writing = self->stream->write(std::as_bytes(std::span(next)), driver::Deadline::max());
      const auto written = co_await std::move(writing);
      if (!written) break;
    }
  }
  static asio::awaitable<void> beat(std::shared_ptr<Core> self) {
    while (!self->closed) {
      if (self->manners.pulses) self->pulse();
      self->tick.expires_after(self->manners.pulse_every);
      co_await self->tick.async_wait(asio::as_tuple(asio::use_awaitable));
    }
  }
  void start() {
    const auto rethrow = [](const std::exception_ptr& error) {
      if (error) std::rethrow_exception(error);
    };
    asio::co_spawn(executor, listen(shared_from_this()), rethrow);
    asio::co_spawn(executor, speak(shared_from_this()), rethrow);
    asio::co_spawn(executor, beat(shared_from_this()), rethrow);
  }
  void hang_up() {
    closed = true;
    stream->close();
    wake.cancel();
    tick.cancel();
  }

  asio::any_io_executor executor;
  std::unique_ptr<driver::ByteStream> stream;
  PeerManners manners;
  asio::steady_timer wake;
  asio::steady_timer tick;
  std::deque<Wire> out;
  std::vector<HeardFrame> heard;
  std::uint16_t last_sequence = 0;
  std::uint32_t id = 0;
  int begun = 0;
  bool down = false;
  bool running = false;
  bool closed = false;
};

LinkPeer::LinkPeer(const asio::any_io_executor& executor, std::unique_ptr<driver::ByteStream> stream,
                   PeerManners manners)
    : core_(std::make_shared<Core>(executor, std::move(stream), std::move(manners))) {
  core_->start();
}
LinkPeer::~LinkPeer() { core_->hang_up(); }
PeerManners& LinkPeer::manners() { return core_->manners; }
const std::vector<HeardFrame>& LinkPeer::heard() const { return core_->heard; }
std::size_t LinkPeer::heard_of(std::uint8_t type) const {
  return static_cast<std::size_t>(std::count_if(core_->heard.begin(), core_->heard.end(),
                                                [&](const HeardFrame& frame) { return frame.type == type; }));
}
int LinkPeer::traverses_begun() const { return core_->begun; }
bool LinkPeer::stylus_down() const { return core_->down; }
void LinkPeer::send(Wire bytes) { core_->send(std::move(bytes)); }
void LinkPeer::hang_up() { core_->hang_up(); }

}  // namespace crestgate::tests
