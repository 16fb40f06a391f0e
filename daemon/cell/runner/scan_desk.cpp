// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/runner/scan_desk.h"

#include <string>
#include <utility>

#include <spdlog/spdlog.h>

#include "base/clock.h"
#include "daemon/cell/config/document.h"
#include "daemon/cell/runner/cell_runner.h"
#include "driver/scanner/scanner.h"

namespace crestgate::cell {

ScanDesk::ScanDesk(driver::Scanner& scanner, LabelLayout label, CellRunner& runner, const base::Clock& clock)
    : scanner_(scanner), label_(std::move(label)), runner_(runner), clock_(clock) {
  scanner_.on_line([this](const std::string& line) { take(line); });
  scanner_.on_unreadable([this](const std::string& why) { unreadable(why); });
  scanner_.on_change([this] {
    if (scanner_.online()) {
      spdlog::info("the scanner is online");
    } else if (gate_.pass("offline", clock_.monotonic())) {
      spdlog::warn("scanner: {}", scanner_.offline_reason().detail);
    }
  });
  scanner_.start();
}

ScanDesk::~ScanDesk() {
  scanner_.on_line({});
  scanner_.on_unreadable({});
  scanner_.on_change({});
}

void ScanDesk::take(const std::string& line) {
  auto identity = label_.read(line);
  if (!identity) {
    unreadable(identity.error().detail);
    return;
  }
  runner_.tell(PartAnnounced{.identity = std::move(*identity), .source = "the scanner"});
}

void ScanDesk::unreadable(const std::string& why) {
  const auto held = gate_.pass("unreadable", clock_.monotonic());
  if (!held) return;
  const std::string before = *held == 0 ? "" : " (and " + std::to_string(*held) + " labels before)";
  spdlog::warn("scanner: {}{}", on_one_line(why), before);
  runner_.record_event("label_unreadable", why + before, [](const base::Outcome& /*recorded*/) {
    // The ledger's own failure is told by the cycle.
  });
}

}  // namespace crestgate::cell
