// SPDX-License-Identifier: Apache-2.0
// Any bytes on the gauge link: never a crash; whole or in pieces gives the same; what decodes encodes to
// itself.

#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <span>
#include <vector>

#include "driver/gauge/link/codec.h"
#include "driver/gauge/link/framer.h"

using namespace crestgate::driver::link;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::span<const std::uint8_t> input(data, size);
  const auto bytes = std::as_bytes(input);

  Framer whole;
  std::vector<Message> messages;
  whole.feed(bytes, messages);

  Framer in_pieces;
  std::vector<Message> same;
  const std::size_t cut = size == 0 ? 0 : data[0] % size;
  in_pieces.feed(bytes.first(cut), same);
  for (const std::byte byte : bytes.subspan(cut)) in_pieces.feed(std::span(&byte, 1), same);
  require(messages == same && whole.counters() == in_pieces.counters());
  require(whole.counters().good == messages.size());

  for (const Message& message : messages) {
    const Bytes frame = encode_frame(message);
    Framer again;
    std::vector<Message> back;
    const std::byte zero{0};
    again.feed(std::span(&zero, 1), back);
    again.feed(std::as_bytes(std::span(frame)), back);
    require(back.size() == 1 && back[0] == message);
  }

  // The input as the content of a frame: behind the framer's checks.
  const auto decoded = decode_content(input);
  if (const auto* message = std::get_if<Message>(&decoded)) {
    const auto once = decode_content(encode_content(*message));
    require(std::get<Message>(once) == *message);
  }
  Bytes content;
  require(cobs_decode(cobs_encode(input), content));
  require(std::equal(content.begin(), content.end(), input.begin(), input.end()));
  return 0;
}
