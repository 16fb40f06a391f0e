// SPDX-License-Identifier: Apache-2.0
#include "driver/scanner/key_scanner.h"

#include <array>
#include <cerrno>
#include <memory>
#include <system_error>
#include <utility>

#include <boost/asio/posix/stream_descriptor.hpp>
#include <fcntl.h>
#include <linux/input.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "driver/scanner/key_decoder.h"
#include "driver/scanner/scan_station.h"
#include "driver/stream/asio_stream.h"

namespace crestgate::driver {
namespace {

using Descriptor = boost::asio::posix::stream_descriptor;

base::Error open_error(const std::string& path, int number) {
  switch (number) {
    case ENOENT:
    case ENODEV:
    case ENXIO:
      return {base::ErrorCode::kNotFound, path + ": no such input device; is the scanner plugged in?"};
    case EACCES:
    case EPERM:
      return {base::ErrorCode::kRefused,
              path + ": no permission to read the device; the account must be in the group that owns it"};
    case EBUSY:
      return {base::ErrorCode::kBusy, path + ": another program has taken the device for itself"};
    case ENOTTY:
    case EINVAL:
      return {base::ErrorCode::kInvalidConfig, path + ": this is not an input device"};
    default:
      return {base::ErrorCode::kIo,
              path + ": cannot open the device (" + std::system_category().message(number) + ")"};
  }
}

// Bounded: a device that types faster than we read must not hold us here.
void discard_keys(Descriptor& device) {
  std::array<std::byte, 4096> waste{};
  for (int turn = 0; turn < 64; ++turn) {
    if (::read(device.native_handle(), waste.data(), waste.size()) <= 0) return;
  }
}

// Without waiting: opening an input device does not block.
base::Result<std::unique_ptr<ByteStream>> open_keys(const boost::asio::any_io_executor& executor,
                                                    const KeyScannerOptions& options) {
  int fd = -1;
  do {
    fd = ::open(options.path.c_str(), O_RDONLY | O_NONBLOCK | O_NOCTTY | O_CLOEXEC);
  } while (fd < 0 && errno == EINTR);
  if (fd < 0) return open_error(options.path, errno);
  // Closing the descriptor gives the device back.
  if (options.grab && ::ioctl(fd, EVIOCGRAB, 1) != 0) {
    const int number = errno;
    ::close(fd);
    return open_error(options.path, number);
  }
  Descriptor device(executor);
  boost::system::error_code error;
  device.assign(fd, error);
  if (error) {
    ::close(fd);
    return base::Error{base::ErrorCode::kIo,
                       options.path + ": cannot watch the device (" + error.message() + ")"};
  }
  const AsioStreamHooks<Descriptor> hooks{.discard = discard_keys, .before_close = nullptr};
  std::unique_ptr<ByteStream> stream =
      std::make_unique<AsioStream<Descriptor>>(std::move(device), options.path, hooks);
  return stream;
}

Awaitable<base::Result<std::unique_ptr<ByteStream>>> at_once(
    base::Result<std::unique_ptr<ByteStream>> opened) {
  co_return opened;
}

DecodeScan make_decoder() {
  return [decoder = KeyDecoder()](std::span<const std::byte> bytes, LineAssembler::Instant now,
                                  LineAssembler& lines) mutable { decoder.take(bytes, now, lines); };
}

}  // namespace

std::unique_ptr<Scanner> make_key_scanner(const boost::asio::any_io_executor& executor,
                                          const KeyScannerOptions& options) {
  ScanSource source{.name = options.path,
                    .open = [executor, options] { return at_once(open_keys(executor, options)); },
                    .make_decoder = make_decoder};
  return make_scan_station(executor, std::move(source), options.timing);
}

}  // namespace crestgate::driver
