// SPDX-License-Identifier: Apache-2.0
#include "daemon/cell/cycle/part_book.h"

#include <gtest/gtest.h>

namespace crestgate::cell {
namespace {

base::Judgement judgement(const std::string& part, std::uint16_t stage, std::uint32_t attempt,
                          std::uint64_t sequence) {
  base::Judgement made;
  made.identity.part_id = part;
  made.plan_stage = stage;
  made.attempt = attempt;
  made.sequence = sequence;
  made.verdict = base::Verdict::kReject;
  return made;
}

TEST(PartBook, CountsAttemptsPerPartAndStage) {
  PartBook book;
  book.note(judgement("ES-1", 1, 1, 1));
  book.note(judgement("ES-1", 2, 3, 2));
  base::PartIdentity identity;
  identity.part_id = "ES-1";
  EXPECT_EQ(book.attempts(identity, 1), 1U);
  EXPECT_EQ(book.attempts(identity, 2), 3U);
  EXPECT_EQ(book.attempts(identity, 3), 0U);
}

TEST(PartBook, APartWithoutAnIdIsNobody) {
  PartBook book;
  base::Judgement unknown = judgement("", 1, 5, 7);
  unknown.identity.part_id.reset();
  book.note(unknown);
  EXPECT_EQ(book.attempts({}, 1), 0U);
  EXPECT_EQ(book.last("").sequence, 0U);
  EXPECT_EQ(book.last_sequence(), 7U);
}

TEST(PartBook, RemembersTheLatestVerdictOfAnId) {
  PartBook book;
  book.note(judgement("ES-1", 1, 1, 1));
  auto second = judgement("ES-1", 1, 2, 2);
  second.verdict = base::Verdict::kAccept;
  book.note(second);
  EXPECT_EQ(book.last("ES-1").verdict, base::Verdict::kAccept);
  EXPECT_EQ(book.last("ES-1").sequence, 2U);
  EXPECT_EQ(book.last("ES-2").sequence, 0U);
}

}  // namespace
}  // namespace crestgate::cell
