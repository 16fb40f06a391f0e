// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/control/control_desk.h"

#include <algorithm>
#include <limits>
#include <memory>
#include <optional>
#include <string_view>
#include <utility>

#include <nlohmann/json.hpp>

#include "daemon/cell/config/document.h"
#include "daemon/cell/control/restart_need.h"
#include "daemon/cell/control/status_text.h"
#include "daemon/cell/runner/cell_runner.h"

namespace crestgate::cell {
namespace {

using Json = nlohmann::ordered_json;

constexpr std::size_t kLongestName = 64;
constexpr std::size_t kLongestNote = 4000;

std::string text_of(const Json& json) { return json.dump(-1, ' ', false, Json::error_handler_t::replace); }
std::string fine() { return text_of({{"ok", true}}); }
std::string refused(const std::string& why) { return text_of({{"ok", false}, {"why", why}}); }

// Reads the fields of one request; keeps the first complaint.
class Fields {
 public:
  explicit Fields(const Json& object) : object_(object) {}

  // One line; names of parts are printable ASCII, as the PLC's block can hold nothing else.
  std::optional<std::string> name(const char* key, std::size_t longest) {
    auto given = text(key, longest);
    const bool plain = !given || std::ranges::all_of(*given, [](char c) { return c >= ' ' && c <= '~'; });
    if (!plain) complain(key, "expected printable ASCII");
    return given;
  }

  std::optional<std::string> text(const char* key, std::size_t longest) {
    const auto found = object_.find(key);
    if (found == object_.end()) return std::nullopt;
    if (!found->is_string() || found->get_ref<const std::string&>().empty() ||
        found->get_ref<const std::string&>().size() > longest) {
      complain(key, "expected a text of 1 to " + std::to_string(longest) + " characters");
      return std::nullopt;
    }
    return on_one_line(found->get<std::string>());
  }

  template <class Number>
  std::optional<Number> number(const char* key) {
    const auto found = object_.find(key);
    if (found == object_.end()) return std::nullopt;
    const bool whole = found->is_number_unsigned() &&
                       found->get<std::uint64_t>() <= std::numeric_limits<Number>::max() &&
                       found->get<std::uint64_t>() > 0;
    if (!whole) {
      complain(key,
               "expected a whole number from 1 to " + std::to_string(std::numeric_limits<Number>::max()));
      return std::nullopt;
    }
    return found->get<Number>();
  }

  void need(const char* key) {
    if (!object_.contains(key)) complain(key, "is missing");
  }
  [[nodiscard]] const std::optional<std::string>& complaint() const { return complaint_; }

 private:
  void complain(const char* key, const std::string& what) {
    if (!complaint_) complaint_ = std::string(key) + ": " + what;
  }

  const Json& object_;
  std::optional<std::string> complaint_;
};

base::PartIdentity identity_of(Fields& fields) {
  base::PartIdentity identity;
  identity.part_id = fields.name("part_id", 32);
  identity.batch = fields.name("batch", 32);
  identity.machine = fields.name("machine", 16);
  identity.stage = fields.number<std::uint16_t>("stage");
  identity.spindle = fields.number<std::uint16_t>("spindle");
  identity.wheel = fields.number<std::uint32_t>("wheel");
  identity.dress_count = fields.number<std::uint32_t>("dress_count");
  return identity;
}

}  // namespace

ControlDesk::ControlDesk(CellRunner& runner, std::string cell_file, std::string software_version)
    : runner_(runner), cell_file_(std::move(cell_file)), software_version_(std::move(software_version)) {}

void ControlDesk::answer(const std::string& line, const std::function<void(std::string)>& reply) {
  const Json request = Json::parse(line, nullptr, false);
  if (!request.is_object() || !request.contains("ask") || !request["ask"].is_string()) {
    reply(refused("expected one JSON object with a text \"ask\""));
    return;
  }
  const std::string ask = request["ask"].get<std::string>();
  const std::string& name = runner_.cycle().cell().name;
  if (request.contains("cell") && request["cell"] != name) {
    reply(refused("this is cell '" + name + "', another one than was asked for"));
    return;
  }
  Fields fields(request);
  const auto tell = [&](CycleEvent event) {
    if (!fields.complaint()) runner_.tell(std::move(event));
    reply(fields.complaint() ? refused(*fields.complaint()) : fine());
  };
  const auto tell_unless_refused = [&](auto event) {
    if (const auto why = fields.complaint() ? fields.complaint() : runner_.cycle().refusal(event)) {
      reply(refused(*why));
    } else {
      tell(std::move(event));
    }
  };
  if (ask == "status") {
    reply(status());
  } else if (ask == "reload") {
    reload(reply);
  } else if (ask == "note") {
    fields.need("who");
    fields.need("text");
    const auto who = fields.text("who", kLongestName);
    const auto text = fields.text("text", kLongestNote);
    if (fields.complaint()) {
      reply(refused(*fields.complaint()));
      return;
    }
    runner_.record_event("note", *who + ": " + *text, [reply](const base::Outcome& recorded) {
      reply(recorded ? fine() : refused(recorded.error().detail));
    });
  } else if (ask == "part") {
    const base::PartIdentity identity = identity_of(fields);
    if (identity == base::PartIdentity{} && !fields.complaint()) {
      reply(refused("nothing was said of the part"));
    } else if (runner_.cycle().phase() != Phase::kIdle && !fields.complaint()) {
      reply(refused(
          "a part is in work, or its result stands: what is said now would be of nobody knows which"));
    } else {
      tell(PartAnnounced{.identity = identity, .source = "the command line"});
    }
  } else if (ask == "measure") {
    auto recipe = fields.number<std::uint16_t>("recipe");
    const auto& plans = runner_.cycle().cell().plans;
    if (!recipe && plans.size() == 1) recipe = plans.front().recipe;
    if (!recipe) fields.need("recipe");
    const MeasureAsked asked{.recipe = recipe, .at_the_bench = true};
    const base::PartIdentity identity = identity_of(fields);
    const bool refused_now = fields.complaint() || runner_.cycle().refusal(asked);
    if (!refused_now && identity != base::PartIdentity{}) {
      runner_.tell(PartAnnounced{.identity = identity, .source = "the command line"});
    }
    tell_unless_refused(asked);
  } else if (ask == "zone") {
    fields.need("zone");
    const auto zone = fields.number<std::uint16_t>("zone").value_or(0);
    if (const auto why = runner_.cycle().refusal_by_hand()) {
      reply(refused(*why));
    } else {
      tell(ZonePlaced{.zone = zone});
    }
  } else if (ask == "taken") {
    if (const auto why = runner_.cycle().refusal_by_hand()) {
      reply(refused(*why));
    } else {
      tell(PartTakenAway{});
    }
  } else if (ask == "bypass") {
    BypassAsked asked{.who = fields.text("who", kLongestName).value_or(""),
                      .minutes = fields.number<std::uint32_t>("minutes").value_or(0)};
    tell_unless_refused(std::move(asked));
  } else if (ask == "bypass_end") {
    fields.need("who");
    if (!runner_.cycle().bypass()) {
      reply(refused("no bypass runs"));
    } else {
      tell(BypassEnded{.who = fields.text("who", kLongestName).value_or("")});
    }
  } else {
    reply(refused("nothing is known by the name '" + ask + "'"));
  }
}

void ControlDesk::reload(const std::function<void(std::string)>& reply) {
  auto read = read_cell(cell_file_);
  if (!read) {
    reply(refused(read.error().detail));
    return;
  }
  if (const auto why = needs_a_restart(runner_.cycle().cell(), *read)) {
    reply(refused(cell_file_ + ": " + *why));
    return;
  }
  runner_.offer_plans(
      std::make_shared<const CellDescription>(std::move(*read)),
      [reply](const base::Outcome& offered) { reply(offered ? fine() : refused(offered.error().detail)); });
}

std::string ControlDesk::status() const {
  return text_of(
      status_json(runner_.cycle(), runner_.signal(), runner_.output_troubles(), software_version_));
}

}  // namespace crestgate::cell
