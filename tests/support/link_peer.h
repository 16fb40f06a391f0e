// SPDX-License-Identifier: Apache-2.0
#pragma once
// The far end of a gauge link, played byte by byte from LINK.md, with every way to misbehave that the page
// names. Its framing is written anew here, bit by bit: neither the driver's codec nor the simulator's.

#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <set>
#include <span>
#include <string>
#include <vector>

#include "driver/stream/byte_stream.h"

namespace crestgate::tests {

using Wire = std::vector<std::uint8_t>;

[[nodiscard]] std::uint32_t crc32c_bit_by_bit(std::span<const std::uint8_t> bytes);
[[nodiscard]] Wire link_frame(std::uint8_t type, std::uint16_t sequence, const Wire& body,
                              std::uint8_t version = 1);
void put_le(Wire& out, std::uint64_t value, int bytes);

struct HeardFrame {
  std::uint8_t type = 0;
  std::uint16_t sequence = 0;
  Wire body;
};

// How this gauge is, and what is wrong with it.
struct PeerManners {
  std::string serial_number = "SN-0042";
  std::uint64_t boot_id = 77;
  std::uint8_t version = 1;
  std::vector<std::int32_t> heights;
  std::uint32_t spacing_nm = 500;
  std::uint32_t height_step_pm = 1000;
  std::uint32_t speed_um_per_s = 500'000;  // fast, so that an expected duration does not slow the tests
  std::uint16_t quality = 0;
  std::chrono::milliseconds pulse_every{50};
  bool pulses = true;
  bool silent = false;                // hears everything, says nothing
  bool mute_after_started = false;    // neither data nor pulses once a traverse began
  int ignore_first = 0;               // requests that are not heard at all
  int ignore_started = 0;             // STARTED is left out so often, though the data come
  std::set<std::size_t> lose_chunks;  // by number, in the first sending
  int lose_finished = 0;              // times
  bool chunks_twice = false;
  bool chunks_backwards = false;
  bool contradict = false;             // the first chunk comes again with another height
  std::size_t stall_after = 100000;    // chunks; then only pulses
  std::size_t restart_after = 100000;  // chunks; then the boot id is another
  bool damage_chunks = false;          // every chunk, always
  bool damage_all = false;             // everything but pulses
  bool garbage_between = false;
  bool wrong_check = false;             // FINISHED carries another check
  std::uint32_t finished_short_by = 0;  // FINISHED counts fewer samples
  std::uint16_t refuse = 0;             // answers TRAVERSE with this refusal
  std::uint16_t fault = 0;
  std::uint8_t clear_after_retract = 1;
};

class LinkPeer {
 public:
  LinkPeer(const boost::asio::any_io_executor& executor, std::unique_ptr<driver::ByteStream> stream,
           PeerManners manners);
  ~LinkPeer();
  LinkPeer(const LinkPeer&) = delete;
  LinkPeer& operator=(const LinkPeer&) = delete;
  LinkPeer(LinkPeer&&) = delete;
  LinkPeer& operator=(LinkPeer&&) = delete;

  [[nodiscard]] PeerManners& manners();
  [[nodiscard]] const std::vector<HeardFrame>& heard() const;
  [[nodiscard]] std::size_t heard_of(std::uint8_t type) const;
  [[nodiscard]] int traverses_begun() const;
  [[nodiscard]] bool stylus_down() const;
  void send(Wire bytes);
  void hang_up();

 private:
  struct Core;
  std::shared_ptr<Core> core_;
};

}  // namespace crestgate::tests
