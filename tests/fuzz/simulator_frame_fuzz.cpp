// SPDX-License-Identifier: Apache-2.0
// Any bytes on the gauge's side of the link: never a crash; whole or in pieces gives the same; what decodes
// encodes to itself. And a gauge behind a line that mistreats frames takes them too.

#include <algorithm>
#include <cstddef>
#include <cstdint>
#include <cstdlib>
#include <variant>
#include <vector>

#include "simulator/link/cobs.h"
#include "simulator/link/gauge.h"
#include "simulator/link/line.h"
#include "simulator/link/messages.h"

using namespace crestgate::simulator;

namespace {

void require(bool holds) {
  if (!holds) std::abort();
}

bool same(const std::vector<Received>& a, const std::vector<Received>& b) {
  if (a.size() != b.size()) return false;
  for (std::size_t i = 0; i < a.size(); ++i) {
    if (a[i].sequence != b[i].sequence || a[i].message != b[i].message) return false;
  }
  return true;
}

// A flat world whose traverses go wrong as the first byte of the input says.
class FlatWorld : public TraverseSource {
 public:
  explicit FlatWorld(std::uint8_t choice) : choice_(choice) {}

  TracedHeights traverse(const TraverseOrder& order) override {
    constexpr std::uint32_t kMost = 2000;  // longer ones say no more and take long
    TracedHeights traced;
    traced.counts.assign(std::min(order.samples(), kMost), 5);
    traced.under_previous_id = (choice_ & 0x80U) != 0;
    traced.upsets.push_back({.kind = static_cast<Upset::Kind>(choice_ % kKinds),
                             .after_samples = choice_,
                             .for_ms = 100,
                             .bytes_per_s = 500,
                             .replug = {}});
    return traced;
  }
  StillReading still(bool /*touching*/, std::uint16_t averaging_ms) override {
    return {.height_count = 5, .scatter_pm = 0, .samples = averaging_ms};
  }
  [[nodiscard]] LineFaultSettings line_faults() const override {
    LineFaultSettings settings;
    settings.frames.swap_probability = (choice_ & 0x40U) != 0 ? 0.3 : 0.0;
    return settings;
  }

 private:
  static constexpr unsigned kKinds = static_cast<unsigned>(Upset::Kind::kTruncateFrame) + 1;
  std::uint8_t choice_;
};

// The gauge hears the input and lives for ten seconds; its clock always goes on.
void live_with(ByteView input) {
  FlatWorld world(input.empty() ? 0 : input[0]);
  crestgate::base::MonotonicInstant now;
  Gauge gauge(GaugeTraits{.longest_traverse_um = 1000}, world, now);
  Line line(gauge, world, {.baud = 115'200, .seed = 1});
  line.step(Bytes{0}, now);
  line.step(input, now);
  const auto end = crestgate::base::after_ms(now, 10'000);
  while (line.next_due() < end) {
    now = std::max(now, line.next_due());
    line.step({}, now);
  }
}

}  // namespace

extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const ByteView input(data, size);

  Receiver whole;
  const std::vector<Received> messages = whole.feed(input);
  Receiver in_pieces;
  const std::size_t cut = size == 0 ? 0 : data[0] % size;
  std::vector<Received> pieces = in_pieces.feed(input.first(cut));
  for (const std::uint8_t byte : input.subspan(cut)) {
    for (Received& received : in_pieces.feed(ByteView(&byte, 1))) pieces.push_back(std::move(received));
  }
  require(same(messages, pieces) && whole.counters() == in_pieces.counters());

  for (const Received& received : messages) {
    Bytes again = {0};
    const Bytes wire = wire_of(frame_of(received.sequence, received.message));
    again.insert(again.end(), wire.begin(), wire.end());
    Receiver receiver;
    require(same(receiver.feed(again), {received}));
  }

  // The input as a body, of the type that its first byte says: behind the framer's checks.
  if (size > 0 && size <= kLongestBody) {
    const Frame frame{.type = data[0], .sequence = 1, .body = Bytes(input.begin() + 1, input.end())};
    const auto read = message_of(frame);
    if (const Message* message = std::get_if<Message>(&read)) {
      const auto once = message_of(frame_of(1, *message));
      require(std::get<Message>(once) == *message);
    }
  }
  live_with(input);
  return 0;
}
