// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/control/control_desk.h"

#include <algorithm>
#include <array>
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

using Reply = std::function<void(std::string)>;

// One thing that was asked, from its fields to its reply.
class Errand {
 public:
  Errand(CellRunner& runner, const Json& request, Reply reply)
      : runner_(runner), fields_(request), reply_(std::move(reply)) {}

  void note() {
    fields_.need("who");
    fields_.need("text");
    const auto who = fields_.text("who", kLongestName);
    const auto text = fields_.text("text", kLongestNote);
    if (fields_.complaint()) {
      reply_(refused(*fields_.complaint()));
      return;
    }
    runner_.record_event("note", *who + ": " + *text, [reply = reply_](const base::Outcome& recorded) {
      reply(recorded ? fine() : refused(recorded.error().detail));
    });
  }

  void part() {
    const base::PartIdentity identity = identity_of(fields_);
    std::optional<std::string> why;
    if (identity == base::PartIdentity{}) why = "nothing was said of the part";
    if (runner_.cycle().phase() != Phase::kIdle) {
      why = "a part is in work, or its result stands: what is said now would be of nobody knows which";
    }
    tell(PartAnnounced{.identity = identity, .source = kCommandLine}, why);
  }

  void measure() {
    auto recipe = fields_.number<std::uint16_t>("recipe");
    const auto& plans = runner_.cycle().cell().plans;
    if (!recipe && plans.size() == 1) recipe = plans.front().recipe;
    if (!recipe) fields_.need("recipe");
    const MeasureAsked asked{.recipe = recipe, .at_the_bench = true};
    const base::PartIdentity identity = identity_of(fields_);
    const auto why = runner_.cycle().refusal(asked);
    const bool named = identity != base::PartIdentity{};
    if (named && !why && !fields_.complaint()) {
      runner_.tell(PartAnnounced{.identity = identity, .source = kCommandLine});
    }
    tell(asked, why);
  }

  void zone() {
    fields_.need("zone");
    tell(ZonePlaced{.zone = fields_.number<std::uint16_t>("zone").value_or(0)},
         runner_.cycle().refusal_by_hand());
  }

  void taken() { tell(PartTakenAway{}, runner_.cycle().refusal_by_hand()); }

  void bypass() {
    const BypassAsked asked{.who = fields_.text("who", kLongestName).value_or(""),
                            .minutes = fields_.number<std::uint32_t>("minutes").value_or(0)};
    tell(asked, runner_.cycle().refusal(asked));
  }

  void bypass_end() {
    fields_.need("who");
    std::optional<std::string> why;
    if (!runner_.cycle().bypass()) why = "no bypass runs";
    tell(BypassEnded{.who = fields_.text("who", kLongestName).value_or("")}, why);
  }

 private:
  static constexpr const char* kCommandLine = "the command line";

  // A field that cannot be read is told before anything that stands against the whole.
  void tell(CycleEvent event, const std::optional<std::string>& why) {
    const auto& against = fields_.complaint() ? fields_.complaint() : why;
    if (!against) runner_.tell(std::move(event));
    reply_(against ? refused(*against) : fine());
  }

  CellRunner& runner_;
  Fields fields_;
  Reply reply_;
};

constexpr std::array<std::pair<std::string_view, void (Errand::*)()>, 7> kErrands = {
    {{"note", &Errand::note},
     {"part", &Errand::part},
     {"measure", &Errand::measure},
     {"zone", &Errand::zone},
     {"taken", &Errand::taken},
     {"bypass", &Errand::bypass},
     {"bypass_end", &Errand::bypass_end}}};

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
  if (ask == "status") {
    reply(status());
    return;
  }
  if (ask == "reload") {
    reload(reply);
    return;
  }
  for (const auto& [known, errand] : kErrands) {
    if (known != ask) continue;
    Errand run(runner_, request, reply);
    (run.*errand)();
    return;
  }
  reply(refused("nothing is known by the name '" + ask + "'"));
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
