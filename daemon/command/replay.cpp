// SPDX-License-Identifier: Apache-2.0
// Judges stored traces again with the one analysis function that judged them live.

#include <bit>
#include <cstdint>
#include <cstdio>
#include <map>
#include <memory>
#include <string>
#include <variant>
#include <vector>

#include <nlohmann/json.hpp>

#include "base/reason.h"
#include "daemon/cell/config/document.h"
#include "daemon/cell/config/plan_description.h"
#include "daemon/cell/runner/part_judging.h"
#include "daemon/command/commands.h"
#include "protocol/ledger/entry.h"
#include "protocol/ledger/file_system.h"
#include "protocol/ledger/ledger_reader.h"

namespace crestgate::command {
namespace {

using analysis::PartDecision;
using base::Judgement;
using base::Verdict;

const char* name_of(Verdict verdict) {
  static constexpr const char* kNames[] = {"none", "accept", "reject"};
  return kNames[static_cast<int>(verdict)];
}

// Whether analysis decided; the other reasons come from the cycle (a lost gauge, an abort) and cannot be
// replayed.
bool decided_by_analysis(base::Reason reason) {
  const auto number = static_cast<unsigned>(reason);
  return number / 100 == 1 || number / 100 == 3 || reason == base::Reason::kNotThisPart;
}

bool same_bits(double a, double b) {
  return std::bit_cast<std::uint64_t>(a) == std::bit_cast<std::uint64_t>(b);
}

bool same_bits(const base::ParameterResult& a, const base::ParameterResult& b) {
  if (a.zone != b.zone || a.symbol != b.symbol || a.verdict != b.verdict || a.reason != b.reason)
    return false;
  if (!same_bits(a.decided, b.decided) || a.values.size() != b.values.size()) return false;
  for (std::size_t i = 0; i < a.values.size(); ++i) {
    if (!same_bits(a.values[i], b.values[i])) return false;
  }
  return true;
}

bool same_bits(const Judgement& judgement, const PartDecision& decision) {
  if (judgement.verdict != decision.verdict || judgement.reason != decision.reason ||
      judgement.detail != decision.detail || judgement.deciding != decision.deciding ||
      judgement.results.size() != decision.results.size()) {
    return false;
  }
  for (std::size_t i = 0; i < judgement.results.size(); ++i) {
    if (!same_bits(judgement.results[i], decision.results[i])) return false;
  }
  return true;
}

struct Tally {
  std::uint64_t same_bits = 0;
  std::uint64_t same_verdict = 0;  // other numbers
  std::uint64_t changed = 0;       // another verdict
  std::uint64_t not_judged_by_analysis = 0;
  std::uint64_t other_stage = 0;  // the plan given is for another stage
  std::uint64_t incomplete = 0;   // a record that it cites cannot be read
};

class Replayer {
 public:
  Replayer(protocol::FileSystem& files, const ReplayOptions& options) : files_(files), options_(options) {}

  base::Result<Tally> run() {
    if (options_.plan) {
      auto text = cell::read_text_file(*options_.plan);
      if (!text) return text.error();
      auto plan = cell::read_plan(*text, *options_.plan);
      if (!plan) return plan.error();
      other_judge_ = std::make_unique<analysis::PartJudge>(plan->part_plan);
      other_stage_ = plan->stage_number;
    }
    auto reader = protocol::LedgerReader::open(files_, options_.ledger);
    if (!reader) return reader.error();
    auto lookup = protocol::LedgerReader::open(files_, options_.ledger);
    if (!lookup) return lookup.error();
    lookup_ = std::make_unique<protocol::LedgerReader>(std::move(*lookup));
    while (true) {
      auto entry = reader->next();
      if (!entry) return entry.error();
      if (!entry->has_value()) break;
      if ((*entry)->kind != protocol::RecordKind::kJudgement) continue;
      auto record = protocol::record_of(**entry);
      if (!record) return record.error();
      replay((*entry)->number, std::get<Judgement>(*record));
    }
    for (const auto& span : reader->damage()) could_not_run(protocol::to_line(span));
    damaged_ = !reader->damage().empty();
    return tally_;
  }

  [[nodiscard]] bool damaged() const { return damaged_; }
  [[nodiscard]] const nlohmann::ordered_json& changes() const { return changes_; }

 private:
  void replay(std::uint64_t number, const Judgement& judgement) {
    if (!decided_by_analysis(judgement.reason)) {
      ++tally_.not_judged_by_analysis;
      return;
    }
    if (other_judge_ && judgement.plan_stage != other_stage_) {
      ++tally_.other_stage;
      return;
    }
    std::vector<std::shared_ptr<const base::Traverse>> traverses;
    analysis::PartJudge* judge = other_judge_.get();
    for (const base::Citation& citation : judgement.cites) {
      auto entry = lookup_->find(citation.record_number);
      const bool right = entry.has_value() && entry->digest == citation.digest;
      if (!right)
        return incomplete(number, citation, entry.has_value() ? "has another digest" : entry.error().detail);
      auto record = protocol::record_of(*entry);
      if (!record) return incomplete(number, citation, record.error().detail);
      if (auto* traverse = std::get_if<base::Traverse>(&*record)) {
        traverses.push_back(std::make_shared<const base::Traverse>(std::move(*traverse)));
      } else if (auto* document = std::get_if<base::Document>(&*record);
                 document != nullptr && document->kind == base::DocumentKind::kPlan && judge == nullptr) {
        judge = judge_for(citation.digest, *document);
        if (judge == nullptr) return incomplete(number, citation, "its plan cannot be read any more");
      }
    }
    if (judge == nullptr) {
      incomplete(number, {}, "it cites no plan");
      return;
    }
    compare(number, judgement, cell::judge_part(*judge, traverses));
  }

  analysis::PartJudge* judge_for(const base::Digest& digest, const base::Document& document) {
    auto [place, fresh] = judges_.try_emplace(digest);
    if (fresh) {
      auto plan = cell::read_complete_plan(document.content, document.source);
      if (plan) place->second = std::make_unique<analysis::PartJudge>(plan->part_plan);
    }
    return place->second.get();
  }

  void incomplete(std::uint64_t number, const base::Citation& citation, const std::string& why) {
    ++tally_.incomplete;
    could_not_run("judgement " + std::to_string(number) + ": record " +
                  std::to_string(citation.record_number) + ": " + why);
  }

  void compare(std::uint64_t number, const Judgement& judgement, const PartDecision& decision) {
    if (same_bits(judgement, decision)) {
      ++tally_.same_bits;
      return;
    }
    const bool flipped = judgement.verdict != decision.verdict;
    ++(flipped ? tally_.changed : tally_.same_verdict);
    const std::string part = judgement.identity.part_id.value_or("part unknown");
    changes_.push_back({{"judgement", number},
                        {"part", part},
                        {"before", name_of(judgement.verdict)},
                        {"now", name_of(decision.verdict)},
                        {"why", decision.detail}});
    if (options_.format == Format::kText && flipped) {
      std::printf("judgement %llu, %s: %s -> %s (%s)\n", static_cast<unsigned long long>(number),
                  part.c_str(), name_of(judgement.verdict), name_of(decision.verdict),
                  decision.detail.c_str());
    }
  }

  protocol::FileSystem& files_;
  const ReplayOptions& options_;
  std::unique_ptr<protocol::LedgerReader> lookup_;
  std::unique_ptr<analysis::PartJudge> other_judge_;
  std::uint16_t other_stage_ = 0;
  std::map<base::Digest, std::unique_ptr<analysis::PartJudge>> judges_;
  nlohmann::ordered_json changes_ = nlohmann::ordered_json::array();
  Tally tally_;
  bool damaged_ = false;
};

void print(const Tally& tally, const Replayer& replayer, Format format) {
  const auto judged = tally.same_bits + tally.same_verdict + tally.changed;
  if (format == Format::kJson) {
    const nlohmann::ordered_json shown{{"judged_again", judged},
                                       {"identical_bits", tally.same_bits},
                                       {"same_verdict_other_numbers", tally.same_verdict},
                                       {"other_verdict", tally.changed},
                                       {"not_judged_by_analysis", tally.not_judged_by_analysis},
                                       {"other_stage", tally.other_stage},
                                       {"incomplete", tally.incomplete},
                                       {"changes", replayer.changes()}};
    std::printf("%s\n", shown.dump(2, ' ', false, nlohmann::ordered_json::error_handler_t::replace).c_str());
    return;
  }
  std::printf(
      "%llu judgements judged again: %llu identical to the last bit, %llu with the same verdict and other "
      "numbers, %llu with another verdict\n",
      static_cast<unsigned long long>(judged), static_cast<unsigned long long>(tally.same_bits),
      static_cast<unsigned long long>(tally.same_verdict), static_cast<unsigned long long>(tally.changed));
  if (tally.other_stage > 0) {
    std::printf("%llu more are of another stage than the plan given\n",
                static_cast<unsigned long long>(tally.other_stage));
  }
  if (tally.not_judged_by_analysis > 0) {
    std::printf("%llu more ended without analysis (gauge, line or ledger) and have nothing to judge again\n",
                static_cast<unsigned long long>(tally.not_judged_by_analysis));
  }
}

}  // namespace

int replay(const ReplayOptions& options) {
  const auto files = protocol::posix_file_system();
  Replayer replayer(*files, options);
  const auto tally = replayer.run();
  if (!tally) return could_not_run(tally.error());
  print(*tally, replayer, options.format);
  const bool all_same =
      tally->changed == 0 && tally->same_verdict == 0 && tally->incomplete == 0 && !replayer.damaged();
  return all_same ? kFine : kAnswerIsNo;
}

}  // namespace crestgate::command
