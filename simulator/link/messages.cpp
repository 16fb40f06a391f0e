// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/messages.h"

#include <algorithm>
#include <concepts>
#include <cstddef>
#include <type_traits>
#include <utility>

#include "base/expects.h"

namespace crestgate::simulator {

namespace {

class BodyWriter {
 public:
  template <std::integral T>
  void number(const T& value) {
    auto rest = static_cast<std::uint64_t>(value);
    for (std::size_t i = 0; i < sizeof(T); ++i) {
      body_.push_back(static_cast<std::uint8_t>(rest & 0xFFU));
      rest >>= 8U;
    }
  }

  void text(const std::string& value) {
    CRESTGATE_EXPECTS(value.size() <= 255);
    body_.push_back(static_cast<std::uint8_t>(value.size()));
    body_.insert(body_.end(), value.begin(), value.end());
  }

  void heights(const std::vector<std::int32_t>& counts) {
    CRESTGATE_EXPECTS(!counts.empty() && counts.size() <= Chunk::kMostHeights);
    body_.push_back(static_cast<std::uint8_t>(counts.size()));
    for (const std::int32_t count : counts) number(count);
  }

  Bytes take() { return std::move(body_); }

 private:
  Bytes body_;
};

class BodyReader {
 public:
  explicit BodyReader(ByteView body) : rest_(body) {}

  template <std::integral T>
  void number(T& value) {
    if (!has(sizeof(T))) return;
    std::uint64_t bits = 0;
    for (std::size_t i = sizeof(T); i > 0; --i) bits = (bits << 8U) | rest_[i - 1];
    value = static_cast<T>(static_cast<std::make_unsigned_t<T>>(bits));
    rest_ = rest_.subspan(sizeof(T));
  }

  void text(std::string& value) {
    std::uint8_t length = 0;
    number(length);
    if (!has(length)) return;
    value.assign(rest_.begin(), rest_.begin() + length);
    rest_ = rest_.subspan(length);
    good_ = good_ && std::all_of(value.begin(), value.end(), [](char c) { return c >= ' ' && c <= '~'; });
  }

  void heights(std::vector<std::int32_t>& counts) {
    std::uint8_t length = 0;
    number(length);
    good_ = good_ && length >= 1 && length <= Chunk::kMostHeights;
    if (!has(std::size_t{4} * length)) return;
    counts.resize(length);
    for (std::int32_t& count : counts) number(count);
  }

  [[nodiscard]] bool good() const { return good_; }

 private:
  bool has(std::size_t size) {
    good_ = good_ && rest_.size() >= size;
    return good_;
  }

  ByteView rest_;
  bool good_ = true;
};

// One description of each body serves writer and reader. That both could be wrong alike is what the vectors
// are for.
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, Hello> {
  io.number(m.minor_version);
}
template <class T>
concept EmptyBody = std::same_as<T, AskState> || std::same_as<T, Abort> || std::same_as<T, Retract> ||
    std::same_as<T, HostPulse>;
void layout(auto& /*io*/, auto& m) requires EmptyBody<std::remove_cvref_t<decltype(m)>> {
  static_cast<void>(m);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, AskStill> {
  io.number(m.averaging_ms);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, StartTraverse> {
  io.number(m.traverse_id);
  io.number(m.length_um);
  io.number(m.spacing_nm);
  io.number(m.speed_um_per_s);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, Resend> {
  io.number(m.traverse_id);
  io.number(m.first_sample);
  io.number(m.count);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, Identity> {
  io.number(m.minor_version);
  io.number(m.boot_id);
  io.number(m.pickup);
  io.number(m.tip_radius_nm);
  io.number(m.range_nm);
  io.number(m.smallest_spacing_nm);
  io.number(m.longest_traverse_um);
  io.text(m.model);
  io.text(m.serial_number);
  io.text(m.firmware);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, StateReport> {
  io.number(m.motion);
  io.number(m.stylus_clear);
  io.number(m.fault);
  io.number(m.height_count);
  io.number(m.height_step_pm);
  io.number(m.seconds_since_boot);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, StillReport> {
  io.number(m.height_count);
  io.number(m.height_step_pm);
  io.number(m.scatter_pm);
  io.number(m.samples);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, Started> {
  io.number(m.traverse_id);
  io.number(m.samples);
  io.number(m.spacing_nm);
  io.number(m.height_step_pm);
  io.number(m.speed_um_per_s);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, Chunk> {
  io.number(m.traverse_id);
  io.number(m.first_sample);
  io.heights(m.height_counts);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, Finished> {
  io.number(m.traverse_id);
  io.number(m.samples);
  io.number(m.quality);
  io.number(m.check);
  io.number(m.duration_ms);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, Lifted> {
  io.number(m.stylus_clear);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, Refused> {
  io.number(m.refused_type);
  io.number(m.refusal);
  io.text(m.text);
}
void layout(auto& io, auto& m) requires std::same_as<std::remove_cvref_t<decltype(m)>, GaugePulse> {
  io.number(m.boot_id);
  io.number(m.motion);
  io.number(m.stylus_clear);
}

using DecodeResult = std::variant<Message, BodyProblem>;

template <class T>
bool try_type(const Frame& frame, DecodeResult& result) {
  if (frame.type != T::kType) return false;
  T message;
  BodyReader reader(frame.body);
  layout(reader, message);
  if (reader.good()) {
    result = Message(std::move(message));
  } else {
    result = BodyProblem::kMalformed;
  }
  return true;
}

template <std::size_t... kIndex>
DecodeResult decode(const Frame& frame, std::index_sequence<kIndex...> /*alternatives*/) {
  DecodeResult result = BodyProblem::kUnknownType;
  static_cast<void>((try_type<std::variant_alternative_t<kIndex, Message>>(frame, result) || ...));
  return result;
}

}  // namespace

Frame frame_of(std::uint16_t sequence, const Message& message) {
  return std::visit(
      [sequence](const auto& body) {
        BodyWriter writer;
        layout(writer, body);
        return Frame{
            .type = std::remove_cvref_t<decltype(body)>::kType, .sequence = sequence, .body = writer.take()};
      },
      message);
}

std::variant<Message, BodyProblem> message_of(const Frame& frame) {
  return decode(frame, std::make_index_sequence<std::variant_size_v<Message>>());
}

Bytes wire_heights(const std::vector<std::int32_t>& height_counts) {
  BodyWriter writer;
  for (const std::int32_t count : height_counts) writer.number(count);
  return writer.take();
}

std::vector<Received> Receiver::feed(ByteView bytes) {
  std::vector<Frame> frames;
  deframer_.feed(bytes, frames);
  std::vector<Received> received;
  for (const Frame& frame : frames) {
    std::variant<Message, BodyProblem> decoded = message_of(frame);
    if (Message* message = std::get_if<Message>(&decoded)) {
      received.push_back({frame.sequence, std::move(*message)});
    } else if (std::get<BodyProblem>(decoded) == BodyProblem::kUnknownType) {
      ++unknown_type_;
    } else {
      ++malformed_;
    }
  }
  return received;
}

ReceiveCounters Receiver::counters() const {
  ReceiveCounters counters = deframer_.counters();
  counters.unknown_type = unknown_type_;
  counters.malformed = malformed_;
  return counters;
}

}  // namespace crestgate::simulator
