// SPDX-License-Identifier: Apache-2.0
#include "protocol/convert/digest.h"

#include <openssl/evp.h>

#include "base/expects.h"

namespace crestgate::protocol {

base::Digest digest_of(std::span<const std::byte> bytes) {
  base::Digest digest;
  unsigned int length = 0;
  // Fails only if the library has no SHA-256 or no memory: nothing that a caller could mend.
  const int done =
      EVP_Digest(bytes.data(), bytes.size(), digest.bytes.data(), &length, EVP_sha256(), nullptr);
  CRESTGATE_EXPECTS(done == 1 && length == digest.bytes.size());
  return digest;
}

}  // namespace crestgate::protocol
