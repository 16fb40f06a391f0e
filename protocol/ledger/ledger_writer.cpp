// SPDX-License-Identifier: Apache-2.0
#include "protocol/ledger/ledger_writer.h"

#include <utility>

#include <openssl/rand.h>

#include "protocol/convert/convert.h"
#include "protocol/convert/digest.h"
#include "protocol/ledger/ledger_directory.h"
#include "protocol/ledger/recovery.h"

namespace crestgate::protocol {
namespace {

namespace fs = std::filesystem;

constexpr std::string_view kLockName = "lock";
constexpr std::string_view kNewSuffix = ".new";

base::Result<LedgerId> random_ledger_id() {
  LedgerId id{};
  if (RAND_bytes(reinterpret_cast<unsigned char*>(id.data()), static_cast<int>(id.size())) != 1) {
    return base::Error{base::ErrorCode::kIo, "the system gives no random numbers for a ledger id"};
  }
  return id;
}

bool no_space(const base::Error& error) { return error.code == base::ErrorCode::kNoSpace; }

}  // namespace

LedgerWriter::LedgerWriter(FileSystem& files, fs::path directory, const LedgerOptions& options)
    : files_(files), directory_(std::move(directory)), options_(options) {}

base::Error LedgerWriter::in_ledger(const base::Error& error) const {
  return {error.code, "ledger " + directory_.string() + ": " + error.detail};
}

base::Error LedgerWriter::fail(base::Error error) {
  error.detail += "; nothing more is written until the ledger is opened again";
  failure_ = error;
  return error;
}

base::Result<std::unique_ptr<LedgerWriter>> LedgerWriter::open(FileSystem& files, const fs::path& directory,
                                                               const LedgerOptions& options) {
  std::unique_ptr<LedgerWriter> writer(new LedgerWriter(files, directory, options));
  const auto started = writer->start();
  if (!started) return writer->in_ledger(started.error());
  return writer;
}

base::Outcome LedgerWriter::start() {
  auto done = files_.make_directory(directory_);
  if (!done) return done;
  auto lock = files_.lock(directory_ / kLockName);
  if (!lock && lock.error().code == base::ErrorCode::kBusy) {
    return base::Error{base::ErrorCode::kBusy, "another writer has it open (" + lock.error().detail + ")"};
  }
  if (!lock) return lock.error();
  lock_ = *std::move(lock);
  const auto names = files_.list(directory_);
  if (!names) return names.error();
  for (const std::string& name : *names) {
    if (!name.ends_with(kNewSuffix) || !segment_of(name.substr(0, name.size() - kNewSuffix.size()))) continue;
    done = files_.remove(directory_ / name);
    if (!done) return done;
  }
  auto segments = survey(files_, directory_);
  if (!segments) return segments.error();
  // The names must outlive a loss of power before anything in the files is acknowledged. A crash may have
  // come between an earlier creation and its sync, so this is done on every start.
  const fs::path parent = fs::absolute(directory_ / "").parent_path().parent_path();
  done = files_.sync_directory(parent);
  if (done) done = files_.sync_directory(directory_);
  if (!done) return done;
  return segments->empty() ? start_new_ledger() : continue_ledger(*segments);
}

base::Outcome LedgerWriter::start_new_ledger() {
  recovery_.created = true;
  recovery_.segment = 1;
  if (options_.ledger_id) {
    owner_.ledger_id = *options_.ledger_id;
  } else {
    const auto id = random_ledger_id();
    if (!id) return id.error();
    owner_.ledger_id = *id;
  }
  return create_segment(1);
}

base::Outcome LedgerWriter::continue_ledger(const std::vector<SegmentInfo>& segments) {
  const SegmentInfo& newest = segments.back();
  if (newest.foreign) {
    return base::Error{base::ErrorCode::kCorruptFile, newest.path.filename().string() + " " + newest.problem};
  }
  for (std::size_t i = 0; i < segments.size(); ++i) {
    if (auto damage = header_damage(segments[i], kSegmentHeaderBytes)) {
      recovery_.damaged.push_back(*std::move(damage));
    }
    if (i == 0) continue;
    if (auto gap = gap_before(segments[i - 1].segment, std::nullopt, segments[i])) {
      recovery_.damaged.push_back(*std::move(gap));
    }
  }
  auto recovered = recover(files_, directory_, newest);
  if (!recovered) return recovered.error();
  owner_ = recovered->owner;
  file_ = std::move(recovered->file);
  end_ = recovered->end;
  first_number_ = recovered->first_number;
  next_number_ = recovered->next_number;
  recovery_.segment = newest.segment;
  recovery_.entries = recovered->entries;
  recovery_.last_number = recovered->next_number - 1;
  recovery_.torn_bytes = recovered->torn_bytes;
  recovery_.torn_saved_as = std::move(recovered->torn_saved_as);
  for (DamagedSpan& span : recovered->damaged) recovery_.damaged.push_back(std::move(span));
  return base::Done{};
}

base::Outcome LedgerWriter::sync(File& file) {
  const auto synced = file.sync_data();
  if (!synced) return fail(synced.error());
  return base::Done{};
}

// All or nothing: what could not be written whole is cut off again.
base::Outcome LedgerWriter::write(std::span<const std::byte> bytes) {
  std::optional<base::Error> problem;
  for (std::size_t done = 0; done < bytes.size() && !problem;) {
    const auto written = file_->append(bytes.subspan(done));
    if (!written) {
      problem = written.error();
    } else if (*written == 0) {
      problem = base::Error{base::ErrorCode::kIo, "a write wrote nothing"};
    } else {
      done += *written;
    }
  }
  if (!problem) return base::Done{};
  const auto cut = file_->truncate(end_);
  if (!cut) return fail({problem->code, problem->detail + ", and " + cut.error().detail});
  if (!no_space(*problem)) return fail(*std::move(problem));
  return *std::move(problem);
}

base::Outcome LedgerWriter::seal() {
  buffer_.clear();
  append_entry(owner_, next_number_ - 1, kEndKind,
               encode(SegmentEnd{.entries = next_number_ - first_number_, .offset = end_}), buffer_);
  auto done = write(buffer_);
  if (done) done = sync(*file_);
  if (!done) return done;
  file_.reset();
  return base::Done{};
}

base::Outcome LedgerWriter::create_segment(std::uint32_t segment) {
  const fs::path path = directory_ / segment_name(segment);
  const fs::path new_path = path.string() + std::string(kNewSuffix);
  const base::UtcInstant created = options_.clock != nullptr ? options_.clock->utc() : base::UtcInstant{};
  const auto header = encode(SegmentHeader{
      .segment = segment, .first_number = next_number_, .created = created, .ledger_id = owner_.ledger_id});
  auto file = files_.open(new_path, Access::kCreate);
  if (!file) return no_space(file.error()) ? file.error() : fail(file.error());
  const auto written = (*file)->append(header);
  if (!written || *written < header.size()) {
    // The file does not belong to the ledger before it has its name: it is made anew when there is space.
    file->reset();
    static_cast<void>(files_.remove(new_path));
    if (written) return base::Error{base::ErrorCode::kNoSpace, "no room for the header of " + path.string()};
    return no_space(written.error()) ? written.error() : fail(written.error());
  }
  auto done = sync(**file);
  if (!done) return done;
  done = files_.rename(new_path, path);
  if (done) done = files_.sync_directory(directory_);
  if (!done) return fail(done.error());
  file_ = *std::move(file);
  owner_.segment = segment;
  end_ = kSegmentHeaderBytes;
  first_number_ = next_number_;
  return base::Done{};
}

// After it, file_ is a segment that takes `bytes` more.
base::Outcome LedgerWriter::make_room(std::uint64_t bytes) {
  const bool full = end_ + bytes > options_.segment_bytes;
  if (file_ && full && next_number_ > first_number_) {
    auto sealed = seal();
    if (!sealed) return sealed;
  }
  if (file_) return base::Done{};
  return create_segment(owner_.segment + 1);
}

base::Result<EntryReceipt> LedgerWriter::append(const base::Record& record) {
  auto receipts = append(std::span(&record, 1));
  if (!receipts) return receipts.error();
  return receipts->front();
}

base::Result<std::vector<EntryReceipt>> LedgerWriter::append(std::span<const base::Record> records) {
  if (failure_) return in_ledger(*failure_);
  // Everything that a record itself can be refused for comes before the first byte is written.
  std::vector<std::string> bodies;
  bodies.reserve(records.size());
  std::uint64_t bytes = 0;
  for (const base::Record& record : records) {
    auto body = serialise(record);
    if (!body) return in_ledger(body.error());
    bytes += entry_bytes(body->size());
    bodies.push_back(*std::move(body));
  }
  std::vector<EntryReceipt> receipts;
  if (records.empty()) return receipts;
  auto done = make_room(bytes);
  if (!done) return in_ledger(done.error());
  buffer_.clear();
  buffer_.reserve(bytes);
  receipts.reserve(records.size());
  for (std::size_t i = 0; i < records.size(); ++i) {
    const auto body = std::as_bytes(std::span(bodies[i]));
    const std::uint64_t number = next_number_ + i;
    receipts.push_back({number, digest_of(body), {owner_.segment, end_ + buffer_.size()}});
    append_entry(owner_, number, static_cast<std::uint8_t>(kind_of(records[i])), body, buffer_);
  }
  done = write(buffer_);
  if (done) done = sync(*file_);
  if (!done) return in_ledger(done.error());
  end_ += buffer_.size();
  next_number_ += records.size();
  return receipts;
}

}  // namespace crestgate::protocol
