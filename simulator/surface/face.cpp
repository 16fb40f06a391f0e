// SPDX-License-Identifier: Apache-2.0
#include "simulator/surface/face.h"

#include <algorithm>
#include <cmath>
#include <cstddef>
#include <numbers>
#include <numeric>

#include "base/expects.h"
#include "simulator/surface/closed_forms.h"
#include "simulator/surface/finishing.h"
#include "simulator/surface/particles.h"
#include "simulator/surface/peening.h"
#include "simulator/surface/random.h"
#include "simulator/surface/ridges.h"
#include "simulator/surface/tearing.h"

namespace crestgate::simulator {

namespace {

constexpr double kTwoPi = 2.0 * std::numbers::pi;

// One step at work: its own random numbers, and the face it works on.
class Workshop {
 public:
  Workshop(FaceLayers& layers, const FaceOptions& options, std::size_t step)
      : layers_(layers),
        options_(options),
        draws_(derive_seed(derive_seed(options.seed, step), "parameters")),
        texture_(derive_seed(derive_seed(options.seed, step), "texture")) {}

  void operator()(const Ridges& step) {
    const RidgeOptions ridges{.rq_um = not_negative(step.rq_um),
                              .correlation_um = not_negative(step.correlation_um),
                              .skew = std::clamp(draw(step.skew), -kLargestSkew, kLargestSkew)};
    const std::vector<double> heights_um =
        ridge_texture(layers_.texture_um.size(), options_.grid_um, ridges, texture_);
    for (std::size_t i = 0; i < heights_um.size(); ++i) layers_.texture_um[i] += heights_um[i];
  }

  void operator()(const Waves& step) {
    const double count = not_negative(step.count);
    const double height_um = not_negative(step.height_um);
    const double random_turns = draws_.uniform();  // always drawn: stating the phase moves no other number
    const double turns = step.phase_deg ? draw(*step.phase_deg) / 360.0 : random_turns;
    add(layers_.waves_um, [=, width_mm = options_.width_mm](double x_mm) {
      return 0.5 * height_um * std::cos(kTwoPi * (count * x_mm / width_mm + turns));
    });
  }

  // Two waves 20 % apart beat once in five wavelengths.
  void operator()(const Chatter& step) {
    const double wavelength_mm = std::max(draw(step.wavelength_mm), 2e-3 * options_.grid_um);
    const double height_um = not_negative(step.height_um);
    const double first_turns = draws_.uniform();
    const double second_turns = draws_.uniform();
    add(layers_.texture_um, [=](double x_mm) {
      const double n = x_mm / wavelength_mm;
      return 0.25 * height_um *
             (std::cos(kTwoPi * (0.9 * n + first_turns)) + std::cos(kTwoPi * (1.1 * n + second_turns)));
    });
  }

  void operator()(const Crown& step) {
    const double drop_um = draw(step.drop_um);
    add(layers_.form_um, [=, half_mm = 0.5 * options_.width_mm](double x_mm) {
      return -drop_um * (x_mm / half_mm) * (x_mm / half_mm);
    });
  }

  void operator()(const Finish& step) {
    const FinishOptions finishing{.plateau_share = share(step.plateau_percent),
                                  .texture_um = not_negative(step.texture_um),
                                  .texture_length_um = not_negative(step.texture_length_um),
                                  .follow = std::clamp(draw(step.follow), 0.0, 1.0),
                                  .deeper_um = not_negative(step.deeper_um)};
    finish(layers_, options_.grid_um, finishing, texture_);
  }

  void operator()(const Belt& step) {
    (*this)(step.finish);
    (*this)(step.waves);
  }

  void operator()(const Craters& step) {
    const double diameter_um = not_negative(step.diameter_um);
    PeeningOptions peening;
    peening.crater.depth_um = not_negative(step.depth_um);
    peening.crater.radius_um = 0.5 * diameter_um;
    peening.crater.rim_share = share(step.rim_percent);
    peening.crater.rim_width_um = step.rim_width_um ? not_negative(*step.rim_width_um) : 0.25 * diameter_um;
    peening.crater.rim_width_um = std::max(peening.crater.rim_width_um, options_.grid_um);
    peening.count_per_mm = not_negative(step.count_per_mm);
    peening.scatter = share(step.scatter_percent);
    peen(layers_.texture_um, options_.grid_um, peening, texture_);
  }

  void operator()(const Particles& step) {
    ParticleOptions particles;
    particles.height_um = not_negative(step.height_um);
    particles.width_um = not_negative(step.width_um);
    particles.count_per_mm = not_negative(step.count_per_mm);
    particles.flat_share = share(step.flat_percent);
    particles.scatter = share(step.scatter_percent);
    const std::vector<double>& z = layers_.texture_um;
    const double mean_um = std::accumulate(z.begin(), z.end(), 0.0) / static_cast<double>(z.size());
    leave_proud(layers_.texture_um, layers_.plateau_um.value_or(mean_um), options_.grid_um, particles,
                texture_);
  }

  void operator()(const Torn& step) {
    TearOptions tearing;
    tearing.count_per_mm = not_negative(step.count_per_mm);
    tearing.width_um = not_negative(step.width_um);
    tearing.depth_um = not_negative(step.depth_um);
    tearing.burr_um = not_negative(step.burr_um);
    tearing.burr_width_um = step.burr_width_um ? not_negative(*step.burr_width_um) : tearing.width_um / 3.0;
    tear(layers_.texture_um, options_.grid_um, tearing, texture_);
  }

  void operator()(const Waveform& step) {
    const double amplitude_um = draw(step.amplitude_um);
    const double wavelength_mm = std::max(draw(step.wavelength_mm), 2e-3 * options_.grid_um);
    const double turns = draw(step.phase_deg) / 360.0;
    add(layers_.texture_um, [=, shape = step.shape](double x_mm) {
      return amplitude_um * wave_height(shape, x_mm / wavelength_mm + turns);
    });
  }

  void operator()(const StepUp& step) {
    const double height_um = draw(step.height_um);
    const double at_mm = draw(step.at_mm);
    add(layers_.form_um, [=](double x_mm) { return x_mm >= at_mm ? height_um : 0.0; });
  }

  void operator()(const Ramp& step) {
    const double slope_um_per_mm = draw(step.slope_um_per_mm);
    add(layers_.form_um, [=](double x_mm) { return slope_um_per_mm * x_mm; });
  }

  void operator()(const Arc& step) {
    const double radius_mm = draw(step.radius_mm);
    add(layers_.form_um, [=](double x_mm) { return arc_height_um(x_mm, radius_mm); });
  }

  void operator()(const Groove& step) {
    const GrooveShape groove{.depth_um = not_negative(step.depth_um), .flank_deg = draw(step.flank_deg)};
    const double at_mm = draw(step.at_mm);
    add(layers_.form_um, [=](double x_mm) { return groove_height_um(x_mm - at_mm, groove); });
  }

  void operator()(const Flat& step) {
    const double height_um = draw(step.height_um);
    add(layers_.form_um, [=](double /*x_mm*/) { return height_um; });
  }

 private:
  double draw(const Varied& parameter) {
    const double deviate = std::clamp(draws_.normal(), -3.0, 3.0);
    return parameter.mean + parameter.deviation * deviate;
  }
  double not_negative(const Varied& parameter) { return std::max(draw(parameter), 0.0); }
  double share(const Varied& percent) { return std::clamp(0.01 * draw(percent), 0.0, 1.0); }

  template <class Height>
  void add(std::vector<double>& layer_um, Height height_um) {
    const double first_mm = -0.5 * options_.width_mm;
    for (std::size_t i = 0; i < layer_um.size(); ++i) {
      layer_um[i] += height_um(first_mm + 1e-3 * options_.grid_um * static_cast<double>(i));
    }
  }

  FaceLayers& layers_;
  const FaceOptions& options_;
  RandomStream draws_;
  RandomStream texture_;
};

}  // namespace

Face make_face(const SurfaceRecipe& recipe, const FaceOptions& options) {
  CRESTGATE_EXPECTS(options.width_mm > 0.0 && options.grid_um > 0.0);
  const auto count =
      static_cast<std::size_t>(std::floor(1000.0 * options.width_mm / options.grid_um + 1e-6)) + 1;
  FaceLayers layers{.form_um = std::vector<double>(count),
                    .waves_um = std::vector<double>(count),
                    .texture_um = std::vector<double>(count)};
  for (std::size_t k = 0; k < recipe.size(); ++k) std::visit(Workshop(layers, options, k), recipe[k]);

  Face face{.grid_um = options.grid_um,
            .first_mm = -0.5 * options.width_mm,
            .heights_um = std::move(layers.texture_um)};
  for (std::size_t i = 0; i < count; ++i) face.heights_um[i] += layers.form_um[i] + layers.waves_um[i];
  return face;
}

}  // namespace crestgate::simulator
