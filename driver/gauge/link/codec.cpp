// SPDX-License-Identifier: Apache-2.0
#include "driver/gauge/link/codec.h"

#include <cstddef>
#include <optional>
#include <string>
#include <string_view>
#include <type_traits>
#include <utility>

#include "base/expects.h"

namespace crestgate::driver::link {
namespace {

constexpr std::size_t kHead = 6;
constexpr std::size_t kCheck = 4;

class Writer {
 public:
  template <class Unsigned>
  void put(Unsigned value) {
    static_assert(std::is_unsigned_v<Unsigned>);
    for (std::size_t i = 0; i < sizeof value; ++i) {
      bytes_.push_back(static_cast<std::uint8_t>(std::uint64_t{value} >> (8 * i)));
    }
  }
  void put_signed(std::int32_t value) { put(static_cast<std::uint32_t>(value)); }
  void put_text(std::string_view text) {
    CRESTGATE_EXPECTS(text.size() <= 255);
    put(static_cast<std::uint8_t>(text.size()));
    bytes_.insert(bytes_.end(), text.begin(), text.end());
  }
  Bytes take() { return std::move(bytes_); }

 private:
  Bytes bytes_;
};

// Once anything is missing, everything after it reads as zero and good() stays false.
class Reader {
 public:
  explicit Reader(std::span<const std::uint8_t> bytes) : rest_(bytes) {}
  template <class Unsigned>
  Unsigned get() {
    static_assert(std::is_unsigned_v<Unsigned>);
    if (!need(sizeof(Unsigned))) return 0;
    std::uint64_t value = 0;
    for (std::size_t i = 0; i < sizeof(Unsigned); ++i) value |= std::uint64_t{rest_[i]} << (8 * i);
    rest_ = rest_.subspan(sizeof(Unsigned));
    return static_cast<Unsigned>(value);
  }
  std::int32_t get_signed() { return static_cast<std::int32_t>(get<std::uint32_t>()); }
  // A character that is not printable ASCII is shown as '?': texts go into logs and onto pages.
  std::string get_text() {
    const std::size_t size = get<std::uint8_t>();
    if (!need(size)) return {};
    std::string text;
    for (const std::uint8_t byte : rest_.first(size)) {
      text.push_back(byte < 0x20 || byte > 0x7E ? '?' : static_cast<char>(byte));
    }
    rest_ = rest_.subspan(size);
    return text;
  }
  void spoil() { good_ = false; }
  [[nodiscard]] bool good() const { return good_; }

 private:
  bool need(std::size_t count) {
    if (rest_.size() < count) good_ = false;
    return good_;
  }
  std::span<const std::uint8_t> rest_;
  bool good_ = true;
};

struct TypeOf {
  Type operator()(const Hello&) const { return Type::kHello; }
  Type operator()(const AskState&) const { return Type::kAskState; }
  Type operator()(const AskStill&) const { return Type::kAskStill; }
  Type operator()(const StartTraverse&) const { return Type::kTraverse; }
  Type operator()(const Resend&) const { return Type::kResend; }
  Type operator()(const Abort&) const { return Type::kAbort; }
  Type operator()(const Retract&) const { return Type::kRetract; }
  Type operator()(const HostPulse&) const { return Type::kHostPulse; }
  Type operator()(const Identity&) const { return Type::kIdentity; }
  Type operator()(const State&) const { return Type::kState; }
  Type operator()(const Still&) const { return Type::kStill; }
  Type operator()(const Started&) const { return Type::kStarted; }
  Type operator()(const Chunk&) const { return Type::kChunk; }
  Type operator()(const Finished&) const { return Type::kFinished; }
  Type operator()(const Done&) const { return Type::kDone; }
  Type operator()(const Refused&) const { return Type::kRefused; }
  Type operator()(const GaugePulse&) const { return Type::kGaugePulse; }
};

struct WriteBody {
  Writer& out;
  void operator()(const Hello& m) const { out.put(m.minor); }
  void operator()(const AskState& /*m*/) const {}
  void operator()(const AskStill& m) const { out.put(m.averaging_ms); }
  void operator()(const StartTraverse& m) const {
    out.put(m.traverse_id);
    out.put(m.length_um);
    out.put(m.spacing_nm);
    out.put(m.speed_um_per_s);
  }
  void operator()(const Resend& m) const {
    out.put(m.traverse_id);
    out.put(m.first);
    out.put(m.count);
  }
  void operator()(const Abort& /*m*/) const {}
  void operator()(const Retract& /*m*/) const {}
  void operator()(const HostPulse& /*m*/) const {}
  void operator()(const Identity& m) const {
    out.put(m.minor);
    out.put(m.boot_id);
    out.put(m.pickup);
    out.put(m.tip_radius_nm);
    out.put(m.range_nm);
    out.put(m.smallest_spacing_nm);
    out.put(m.longest_traverse_um);
    out.put_text(m.model);
    out.put_text(m.serial_number);
    out.put_text(m.firmware);
  }
  void operator()(const State& m) const {
    out.put(m.motion);
    out.put(m.stylus_clear);
    out.put(m.fault);
    out.put_signed(m.height_counts);
    out.put(m.height_step_pm);
    out.put(m.seconds_since_boot);
  }
  void operator()(const Still& m) const {
    out.put_signed(m.height_counts);
    out.put(m.height_step_pm);
    out.put(m.scatter_pm);
    out.put(m.samples);
  }
  void operator()(const Started& m) const {
    out.put(m.traverse_id);
    out.put(m.samples);
    out.put(m.spacing_nm);
    out.put(m.height_step_pm);
    out.put(m.speed_um_per_s);
  }
  void operator()(const Chunk& m) const {
    CRESTGATE_EXPECTS(!m.heights.empty() && m.heights.size() <= kMaxChunk);
    out.put(m.traverse_id);
    out.put(m.first);
    out.put(static_cast<std::uint8_t>(m.heights.size()));
    for (const std::int32_t height : m.heights) out.put_signed(height);
  }
  void operator()(const Finished& m) const {
    out.put(m.traverse_id);
    out.put(m.samples);
    out.put(m.quality);
    out.put(m.check);
    out.put(m.duration_ms);
  }
  void operator()(const Done& m) const { out.put(m.stylus_clear); }
  void operator()(const Refused& m) const {
    out.put(m.refused_type);
    out.put(m.refusal);
    out.put_text(m.text);
  }
  void operator()(const GaugePulse& m) const {
    out.put(m.boot_id);
    out.put(m.motion);
    out.put(m.stylus_clear);
  }
};

Identity read_identity(Reader& in) {
  Identity m;
  m.minor = in.get<std::uint8_t>();
  m.boot_id = in.get<std::uint64_t>();
  m.pickup = in.get<std::uint8_t>();
  m.tip_radius_nm = in.get<std::uint32_t>();
  m.range_nm = in.get<std::uint32_t>();
  m.smallest_spacing_nm = in.get<std::uint32_t>();
  m.longest_traverse_um = in.get<std::uint32_t>();
  m.model = in.get_text();
  m.serial_number = in.get_text();
  m.firmware = in.get_text();
  return m;
}

State read_state(Reader& in) {
  State m;
  m.motion = in.get<std::uint8_t>();
  m.stylus_clear = in.get<std::uint8_t>();
  m.fault = in.get<std::uint16_t>();
  m.height_counts = in.get_signed();
  m.height_step_pm = in.get<std::uint32_t>();
  m.seconds_since_boot = in.get<std::uint32_t>();
  return m;
}

Still read_still(Reader& in) {
  Still m;
  m.height_counts = in.get_signed();
  m.height_step_pm = in.get<std::uint32_t>();
  m.scatter_pm = in.get<std::uint32_t>();
  m.samples = in.get<std::uint16_t>();
  return m;
}

StartTraverse read_start(Reader& in) {
  StartTraverse m;
  m.traverse_id = in.get<std::uint32_t>();
  m.length_um = in.get<std::uint32_t>();
  m.spacing_nm = in.get<std::uint32_t>();
  m.speed_um_per_s = in.get<std::uint32_t>();
  return m;
}

Resend read_resend(Reader& in) {
  Resend m;
  m.traverse_id = in.get<std::uint32_t>();
  m.first = in.get<std::uint32_t>();
  m.count = in.get<std::uint32_t>();
  if (m.count == 0) in.spoil();
  return m;
}

Started read_started(Reader& in) {
  Started m;
  m.traverse_id = in.get<std::uint32_t>();
  m.samples = in.get<std::uint32_t>();
  m.spacing_nm = in.get<std::uint32_t>();
  m.height_step_pm = in.get<std::uint32_t>();
  m.speed_um_per_s = in.get<std::uint32_t>();
  return m;
}

Chunk read_chunk(Reader& in) {
  Chunk m;
  m.traverse_id = in.get<std::uint32_t>();
  m.first = in.get<std::uint32_t>();
  const std::size_t count = in.get<std::uint8_t>();
  if (count == 0 || count > kMaxChunk) in.spoil();
  if (!in.good()) return m;
  m.heights.reserve(count);
  for (std::size_t i = 0; i < count; ++i) m.heights.push_back(in.get_signed());
  return m;
}

Finished read_finished(Reader& in) {
  Finished m;
  m.traverse_id = in.get<std::uint32_t>();
  m.samples = in.get<std::uint32_t>();
  m.quality = in.get<std::uint16_t>();
  m.check = in.get<std::uint32_t>();
  m.duration_ms = in.get<std::uint32_t>();
  return m;
}

Refused read_refused(Reader& in) {
  Refused m;
  m.refused_type = in.get<std::uint8_t>();
  m.refusal = in.get<std::uint16_t>();
  m.text = in.get_text();
  return m;
}

GaugePulse read_gauge_pulse(Reader& in) {
  GaugePulse m;
  m.boot_id = in.get<std::uint64_t>();
  m.motion = in.get<std::uint8_t>();
  m.stylus_clear = in.get<std::uint8_t>();
  return m;
}

std::optional<Body> read_body(std::uint8_t type, Reader& in) {
  switch (static_cast<Type>(type)) {
    case Type::kHello:
      return Hello{in.get<std::uint8_t>()};
    case Type::kAskState:
      return AskState{};
    case Type::kAskStill:
      return AskStill{in.get<std::uint16_t>()};
    case Type::kTraverse:
      return read_start(in);
    case Type::kResend:
      return read_resend(in);
    case Type::kAbort:
      return Abort{};
    case Type::kRetract:
      return Retract{};
    case Type::kHostPulse:
      return HostPulse{};
    case Type::kIdentity:
      return read_identity(in);
    case Type::kState:
      return read_state(in);
    case Type::kStill:
      return read_still(in);
    case Type::kStarted:
      return read_started(in);
    case Type::kChunk:
      return read_chunk(in);
    case Type::kFinished:
      return read_finished(in);
    case Type::kDone:
      return Done{in.get<std::uint8_t>()};
    case Type::kRefused:
      return read_refused(in);
    case Type::kGaugePulse:
      return read_gauge_pulse(in);
  }
  return std::nullopt;
}

}  // namespace

Type type_of(const Body& body) { return std::visit(TypeOf{}, body); }

Bytes encode_content(const Message& message) {
  Writer body_writer;
  std::visit(WriteBody{body_writer}, message.body);
  const Bytes body = body_writer.take();
  CRESTGATE_EXPECTS(body.size() <= kMaxBody);
  Writer head;
  head.put(kVersion);
  head.put(static_cast<std::uint8_t>(type_of(message.body)));
  head.put(message.sequence);
  head.put(static_cast<std::uint16_t>(body.size()));
  Bytes content = head.take();
  content.insert(content.end(), body.begin(), body.end());
  Writer check;
  check.put(crc32c(content));
  const Bytes tail = check.take();
  content.insert(content.end(), tail.begin(), tail.end());
  return content;
}

Bytes encode_frame(const Message& message) {
  Bytes wire = cobs_encode(encode_content(message));
  wire.push_back(0);
  return wire;
}

std::variant<Message, Defect> decode_content(std::span<const std::uint8_t> content) {
  if (content.size() < kHead + kCheck) return Defect::kDamaged;
  const std::size_t body_size = content.size() - kHead - kCheck;
  Reader check(content.last(kCheck));
  // The check first: only a whole frame can say of itself that it is of another version.
  if (crc32c(content.first(content.size() - kCheck)) != check.get<std::uint32_t>()) return Defect::kDamaged;
  Reader head(content.first(kHead));
  const auto version = head.get<std::uint8_t>();
  if (version != kVersion) return Defect::kOtherVersion;
  const auto type = head.get<std::uint8_t>();
  const auto sequence = head.get<std::uint16_t>();
  const std::size_t length = head.get<std::uint16_t>();
  if (length != body_size || length > kMaxBody) return Defect::kDamaged;
  Reader body(content.subspan(kHead, body_size));
  std::optional<Body> read = read_body(type, body);
  if (!read) return Defect::kUnknownType;
  if (!body.good()) return Defect::kMalformed;
  return Message{sequence, *std::move(read)};
}

}  // namespace crestgate::driver::link
