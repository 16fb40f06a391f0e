// SPDX-License-Identifier: Apache-2.0
#pragma once
// What each light of a part-verdict lamp says to the person in front of it, by what it stands for. The word on the
// light carries the meaning; position and steady or flashing repeat it; a colour only helps.

#include <array>
#include <cstddef>
#include <string_view>

#include "driver/signal/lights/light.h"

namespace crestgate::report {

struct LightMeaning {
  driver::Shows shows;
  std::string_view word;    // the usual label
  std::string_view colour;  // the usual one
  std::string_view means;
  std::string_view then;
};

inline constexpr std::array kLightMeanings = {
    LightMeaning{driver::Shows::kAccept, "ACCEPT", "green",
                 "This part, on the bench now, kept every limit, and the ledger says so.",
                 "Pass it on while the light is on. Light gone: not accepted."},
    LightMeaning{driver::Shows::kReject, "REJECT", "red", "A limit is broken; the line names the number.",
                 "Take the part where its fate says."},
    LightMeaning{driver::Shows::kAct, "ACT", "blue", "No verdict, and somebody has to do something.",
                 "Read the code, do what stands beside it here. The part is not accepted."},
    LightMeaning{driver::Shows::kNotMeasured, "NOT MEASURED", "any but green",
                 "The part was passed over by the sampling plan, or the gauge is bypassed.",
                 "Pass it on unmeasured or keep it apart, as its fate says. It is not accepted."},
    LightMeaning{driver::Shows::kMeasuring, "MEASURING", "any but green", "The stylus is at work.",
                 "Leave part and bench alone."},
    LightMeaning{driver::Shows::kRework, "REWORK", "any but green", "The result asks for rework.",
                 "Put the part with those for rework."},
    LightMeaning{driver::Shows::kScrap, "SCRAP", "any but green", "The result asks for scrap.",
                 "Put the part into the scrap box."},
    LightMeaning{driver::Shows::kQuarantine, "QUARANTINE", "any but green",
                 "The part must wait for a person's decision.",
                 "Lock it away and tell the process engineer."},
    LightMeaning{driver::Shows::kMeasureAgain, "MEASURE AGAIN", "any but green",
                 "The result asks for another measurement.", "Seat the part afresh and ask again."},
};

constexpr const LightMeaning& meaning_of(driver::Shows shows) {
  for (const LightMeaning& meaning : kLightMeanings) {
    if (meaning.shows == shows) return meaning;
  }
  return kLightMeanings[2];  // not reached: the check below
}

// One row per value, so that the row's number is the value.
constexpr bool light_meanings_are_complete() {
  for (std::size_t i = 0; i < kLightMeanings.size(); ++i) {
    if (kLightMeanings[i].shows != static_cast<driver::Shows>(i)) return false;
  }
  return kLightMeanings.size() == static_cast<std::size_t>(driver::Shows::kMeasureAgain) + 1;
}
static_assert(light_meanings_are_complete(), "each value of driver::Shows needs a row here");

}  // namespace crestgate::report
