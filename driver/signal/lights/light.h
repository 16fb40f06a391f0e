// SPDX-License-Identifier: Apache-2.0
#pragma once
// What one light of a part-verdict lamp, or one digital line, stands for. The site's rule is the list of these.

#include <cstdint>
#include <string>
#include <string_view>

#include "base/cell_signal.h"

namespace crestgate::driver {

enum class Shows : std::uint8_t {
  kAccept,  // a live, recorded accept: the green, and the gate
  kReject,
  kAct,          // somebody has to come
  kNotMeasured,  // not sampled, or bypassed
  kMeasuring,
  kRework,  // the fates, while the result that asks for them stands
  kScrap,
  kQuarantine,
  kMeasureAgain,
};
[[nodiscard]] std::string_view name_of(Shows shows);  // for people

struct Light {
  std::string label;  // the word beside it: meaning never hangs on a colour alone
  Shows shows = Shows::kAccept;
  bool flashing = false;  // 1 Hz, half on; never an accept
};

// Purpose  whether a light that stands for `shows` is lit (or flashes) under `signal`. An accept needs
//          everything to agree (shows_accept, and the lamp the cell wants is green).
[[nodiscard]] bool is_lit(Shows shows, const base::CellSignal& signal);

}  // namespace crestgate::driver
