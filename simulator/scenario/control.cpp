// SPDX-License-Identifier: Apache-2.0
#include "simulator/scenario/control.h"

#include <array>
#include <cstdint>
#include <filesystem>
#include <limits>
#include <system_error>

#include "simulator/scenario/words.h"

namespace crestgate::simulator {

namespace {

std::string refused(const base::Error& error) { return "error " + error.detail; }

}  // namespace

std::string ControlDesk::answer(std::string_view command) {
  constexpr std::array<std::string_view, 6> kCommands = {"place", "zone", "remove", "fault", "state", "quit"};
  Words words(command, "control");
  const auto index = words.one_of(kCommands);
  if (!index) return refused(index.error());
  switch (*index) {
    case 0:
      return place(words);
    case 1:
      return zone(words);
    case 2:
      return remove(words);
    case 3:
      return fault(words, command);
    default:
      if (auto end = words.end(); !end) return refused(end.error());
      quit_wanted_ = quit_wanted_ || *index == 5;
      return *index == 5 ? "ok quitting" : state();
  }
}

std::string ControlDesk::place(Words& words) {
  const auto part = words.word("a part");
  if (!part) return refused(part.error());
  std::optional<std::uint16_t> stage;
  if (!words.at_end()) {
    constexpr std::array<std::string_view, 1> kStage = {"stage"};
    if (auto next = words.one_of(kStage); !next) return refused(next.error());
    const auto number = words.whole_number(std::numeric_limits<std::uint16_t>::max());
    if (!number) return refused(number.error());
    stage = static_cast<std::uint16_t>(*number);
  }
  if (auto end = words.end(); !end) return refused(end.error());
  if (!gauge_.stylus_clear()) return "error the stylus is down: retract it first";
  if (auto done = bench_.place(*part, stage); !done) return refused(done.error());
  return state();
}

std::string ControlDesk::zone(Words& words) {
  const auto number = words.whole_number(std::numeric_limits<std::uint32_t>::max());
  if (!number) return refused(number.error());
  if (auto end = words.end(); !end) return refused(end.error());
  if (!gauge_.stylus_clear()) return "error the stylus is down: retract it first";
  if (auto done = bench_.choose_zone(static_cast<std::uint32_t>(*number)); !done)
    return refused(done.error());
  return state();
}

std::string ControlDesk::remove(Words& words) {
  if (auto end = words.end(); !end) return refused(end.error());
  if (!gauge_.stylus_clear()) return "error the stylus is down: retract it first";
  if (auto done = bench_.remove(); !done) return refused(done.error());
  return state();
}

std::string ControlDesk::fault(Words& words, std::string_view command) {
  if (words.peek() == "clear") {
    static_cast<void>(words.word("clear"));
    if (auto end = words.end(); !end) return refused(end.error());
    bench_.clear_faults();
    return state();
  }
  const auto plan = parse_fault(command.substr(command.find("fault") + 5), "control");
  if (!plan) return refused(plan.error());
  // Found out now: a port that cannot come back would end the program.
  const std::filesystem::path link = plan->replug.link_path;
  std::error_code problem;
  if (link.has_parent_path() && !std::filesystem::is_directory(link.parent_path(), problem)) {
    return "error the folder of the link '" + link.string() + "' does not exist";
  }
  bench_.add_fault(*plan);
  return state();
}

std::string ControlDesk::state() const {
  std::string text = "ok part ";
  if (const auto& lies = bench_.placement()) {
    text += lies->part.part + " stage " + std::to_string(lies->part.stage) + " attempt " +
            std::to_string(lies->attempt) + " zone " + std::to_string(lies->zone) + " traverses " +
            std::to_string(lies->traverses);
  } else {
    text += "none";
  }
  text += std::string(" stylus ") + (gauge_.stylus_clear() ? "clear" : "down");
  text += std::string(" motion ") + (gauge_.fault() != 0 ? "fault" : gauge_.moving() ? "moving" : "idle");
  return text + " faults " + std::to_string(bench_.fault_count());
}

}  // namespace crestgate::simulator
