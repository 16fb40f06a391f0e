// SPDX-License-Identifier: Apache-2.0
#include "simulator/link/line_fault.h"

#include <algorithm>

namespace crestgate::simulator {

LineFault::LineFault(std::uint64_t seed)
    : to_host_random_(derive_seed(seed, "line to host")),
      to_gauge_random_(derive_seed(seed, "line to gauge")) {}

Bytes LineFault::pass(ByteView bytes, Direction direction, const LineFaultSettings& settings) {
  const bool outward = direction == Direction::kToHost;
  const DirectionFault& fault = outward ? settings.to_host : settings.to_gauge;
  if (fault == DirectionFault{}) return {bytes.begin(), bytes.end()};
  RandomStream& random = outward ? to_host_random_ : to_gauge_random_;
  Bytes out;
  out.reserve(bytes.size());
  for (std::uint8_t byte : bytes) {
    if (random.uniform() < fault.drop_probability) continue;
    if (random.uniform() < fault.flip_probability) {
      const auto bit = std::min(static_cast<unsigned>(random.uniform() * 8.0), 7U);
      byte = static_cast<std::uint8_t>(byte ^ (1U << bit));
    }
    out.push_back(byte);
  }
  return out;
}

}  // namespace crestgate::simulator
