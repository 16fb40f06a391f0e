// SPDX-License-Identifier: Apache-2.0
#pragma once
// The card beside the bench: what the lights say, and for each reason code who acts and what that person does first.

#include <span>
#include <string>
#include <string_view>

#include "daemon/report/cabinet/page_frame.h"
#include "driver/signal/lights/light.h"

namespace crestgate::report {

// Purpose  the whole card as one HTML document: two sheets of A4 or US Letter, upright.
// Shape    `lights` from the top down, as they stand on the bench; empty: REJECT, ACT, ACCEPT.
std::string reason_card(std::string_view cell_name, const PageStamp& stamp,
                        std::span<const driver::Light> lights = {});

}  // namespace crestgate::report
