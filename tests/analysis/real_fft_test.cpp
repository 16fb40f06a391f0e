// SPDX-License-Identifier: Apache-2.0
#include "analysis/filters/real_fft.h"

#include <cmath>
#include <numbers>
#include <vector>

#include <gtest/gtest.h>

#include "analysis/profiles.h"

namespace crestgate::analysis {
namespace {

std::vector<Complex> pairs_of(const std::vector<double>& samples) {
  std::vector<Complex> pairs(samples.size() / 2);
  for (std::size_t i = 0; i < samples.size(); ++i) as_samples(pairs)[i] = samples[i];
  return pairs;
}

// The definition, written out.
Complex plain_transform(const std::vector<double>& samples, std::size_t k) {
  long double real = 0.0L;
  long double imaginary = 0.0L;
  for (std::size_t j = 0; j < samples.size(); ++j) {
    const long double angle = -2.0L * std::numbers::pi_v<long double> *
                              static_cast<long double>((j * k) % samples.size()) /
                              static_cast<long double>(samples.size());
    real += static_cast<long double>(samples[j]) * std::cos(angle);
    imaginary += static_cast<long double>(samples[j]) * std::sin(angle);
  }
  return {static_cast<double>(real), static_cast<double>(imaginary)};
}

TEST(RealFft, EqualsTheDefinitionAtEveryGoodSizeUpTo200) {
  for (std::size_t size = 4; size <= 200; ++size) {
    if (!RealFft::is_possible(size)) continue;
    const std::vector<double> samples = profiles::rough(size, 1.0, 0, size);
    const RealFft fft(size);
    std::vector<Complex> spectrum(fft.spectrum_count());
    fft.forward(pairs_of(samples), spectrum);
    for (std::size_t k = 0; k < spectrum.size(); ++k) {
      EXPECT_LT(std::abs(spectrum[k] - plain_transform(samples, k)), 1e-12 * static_cast<double>(size))
          << size << " " << k;
    }
  }
}

TEST(RealFft, InverseUndoesForward) {
  for (const std::size_t size : {4U, 6U, 10U, 18000U, 32768U, 40500U}) {
    const std::vector<double> samples = profiles::rough(size, 1.0, 0, 7);
    const RealFft fft(size);
    std::vector<Complex> spectrum(fft.spectrum_count());
    std::vector<Complex> back(fft.pair_count());
    fft.forward(pairs_of(samples), spectrum);
    fft.inverse(spectrum, back);
    for (std::size_t i = 0; i < size; ++i)
      ASSERT_NEAR(as_samples(back)[i], samples[i], 1e-13) << size << " " << i;
  }
}

TEST(RealFft, GoodSizesAreTheCheapestOnesWithoutLargePrimes) {
  EXPECT_EQ(RealFft::good_size(0), 4U);
  EXPECT_EQ(RealFft::good_size(5), 6U);
  EXPECT_EQ(RealFft::good_size(14), 16U);
  for (const std::size_t size : {7U, 14U, 22U, 4095U}) EXPECT_FALSE(RealFft::is_possible(size)) << size;
  // Long powers of two lie badly in the cache; 3 and 5 in the right places are quicker although longer.
  EXPECT_EQ(RealFft::good_size(17985), 20000U);
  EXPECT_EQ(RealFft::good_size(32768), 36000U);
  for (std::size_t wanted = 100; wanted < 20000; wanted += 37) {
    const std::size_t size = RealFft::good_size(wanted);
    EXPECT_TRUE(RealFft::is_possible(size)) << wanted;
    EXPECT_GE(size, wanted);
    EXPECT_LE(size, wanted + wanted / 8 + 2) << wanted;
  }
}

TEST(RealFft, GivesTheSameBitsEveryTime) {
  const std::vector<double> samples = profiles::rough(18000, 1.0, 0, 3);
  const RealFft one(18000);
  const RealFft other(18000);
  std::vector<Complex> first(one.spectrum_count());
  std::vector<Complex> second(one.spectrum_count());
  one.forward(pairs_of(samples), first);
  other.forward(pairs_of(samples), second);
  EXPECT_EQ(first, second);
}

}  // namespace
}  // namespace crestgate::analysis
