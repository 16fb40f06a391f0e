// SPDX-License-Identifier: Apache-2.0
// What the ledger costs beside the disk. Append is compared with a bare write and fdatasync of the same
// bytes; the column CPU is the share of this process (user and system). Also the check sum of ISA-L against
// the table-driven one of Boost, which was the alternative.
//
// Usage  ledger_bench [--benchmark_...]; files are made under TMPDIR, which should lie on the ledger's disk.

#include <benchmark/benchmark.h>
#include <boost/crc.hpp>
#include <fcntl.h>
#include <unistd.h>

#include "protocol/convert/convert.h"
#include "protocol/convert/digest.h"
#include "protocol/example_records.h"
#include "protocol/ledger/crc32c.h"
#include "protocol/ledger/ledger_format.h"
#include "protocol/ledger_support.h"

namespace crestgate::protocol {
namespace {

constexpr std::size_t kSamples = 16'384;

void append_traverse(benchmark::State& state) {
  const TemporaryFolder folder;
  const auto files = posix_file_system();
  auto writer = open_writer(*files, std::uint64_t{64} << 20U, folder.path() / "ledger");
  const base::Record record = long_traverse(kSamples);
  for (auto _ : state) {
    auto receipt = writer->append(record);
    if (!receipt) state.SkipWithError(receipt.error().detail.c_str());
  }
}

void bare_write_and_sync(benchmark::State& state) {
  const TemporaryFolder folder;
  const std::string body = *serialise(long_traverse(kSamples));
  const std::string bytes(entry_bytes(body.size()), 'x');
  const int file = ::open((folder.path() / "bare").c_str(), O_RDWR | O_APPEND | O_CREAT | O_CLOEXEC, 0644);
  for (auto _ : state) {
    const bool done = ::write(file, bytes.data(), bytes.size()) == static_cast<ssize_t>(bytes.size()) &&
                      ::fdatasync(file) == 0;
    if (!done) state.SkipWithError("write or fdatasync failed");
  }
  ::close(file);
}

void serialise_traverse(benchmark::State& state) {
  const base::Record record = long_traverse(kSamples);
  for (auto _ : state) benchmark::DoNotOptimize(serialise(record));
}

void parse_traverse(benchmark::State& state) {
  const std::string body = *serialise(long_traverse(kSamples));
  for (auto _ : state) {
    benchmark::DoNotOptimize(parse(std::as_bytes(std::span(body)), RecordKind::kTraverse));
  }
}

void sha256_of_64_kib(benchmark::State& state) {
  const std::vector<std::byte> bytes(std::size_t{64} << 10U, std::byte{7});
  for (auto _ : state) benchmark::DoNotOptimize(digest_of(bytes));
}

void crc32c_of_64_kib(benchmark::State& state) {
  const std::vector<std::byte> bytes(std::size_t{64} << 10U, std::byte{7});
  for (auto _ : state) benchmark::DoNotOptimize(crc32c(bytes));
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(bytes.size()));
}

void boost_crc32c_of_64_kib(benchmark::State& state) {
  const std::vector<std::byte> bytes(std::size_t{64} << 10U, std::byte{7});
  for (auto _ : state) {
    boost::crc_optimal<32, 0x1EDC6F41, 0xFFFFFFFF, 0xFFFFFFFF, true, true> crc;
    crc.process_bytes(bytes.data(), bytes.size());
    benchmark::DoNotOptimize(crc.checksum());
    if (crc.checksum() != crc32c(std::span(bytes))) state.SkipWithError("the two do not agree");
  }
  state.SetBytesProcessed(state.iterations() * static_cast<std::int64_t>(bytes.size()));
}

void read_ledger_of_traverses(benchmark::State& state) {
  const TemporaryFolder folder;
  const auto files = posix_file_system();
  constexpr int kRecords = 200;
  {
    auto writer = open_writer(*files, std::uint64_t{64} << 20U, folder.path() / "ledger");
    const std::vector<base::Record> records(kRecords, long_traverse(kSamples));
    if (!writer->append(records)) state.SkipWithError("append failed");
  }
  for (auto _ : state) benchmark::DoNotOptimize(read_all(*files, folder.path() / "ledger").entries.size());
  state.SetItemsProcessed(state.iterations() * kRecords);
}

BENCHMARK(append_traverse)->Unit(benchmark::kMicrosecond)->Iterations(500);
BENCHMARK(bare_write_and_sync)->Unit(benchmark::kMicrosecond)->Iterations(500);
BENCHMARK(serialise_traverse)->Unit(benchmark::kMicrosecond);
BENCHMARK(parse_traverse)->Unit(benchmark::kMicrosecond);
BENCHMARK(sha256_of_64_kib)->Unit(benchmark::kMicrosecond);
BENCHMARK(crc32c_of_64_kib)->Unit(benchmark::kMicrosecond);
BENCHMARK(boost_crc32c_of_64_kib)->Unit(benchmark::kMicrosecond);
BENCHMARK(read_ledger_of_traverses)->Unit(benchmark::kMillisecond);

}  // namespace
}  // namespace crestgate::protocol
