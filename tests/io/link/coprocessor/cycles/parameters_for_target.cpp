// Writes the parameters of the orchard cart's middle machine as C, for the program that runs on the
// simulated core: parameters_for_target STEP_TICKS TICK_NS
#include <charconv>
#include <cstdio>
#include <stdexcept>
#include <string_view>

#include "io/link/coprocessor/host/parameters.hpp"

using namespace stillrotor::io::coprocessor;

namespace {

void words(const char* name, const void* data, std::size_t bytes) {
  std::printf("static const uint32_t %s[] = {", name);
  const auto* word = static_cast<const unsigned char*>(data);
  for (std::size_t n = 0; n < bytes; n += 4) {
    unsigned value = 0;
    for (std::size_t k = 0; k < 4 && n + k < bytes; ++k)
      value |= static_cast<unsigned>(word[n + k]) << (8 * k);
    std::printf("%s%uU,", n % 40 ? " " : "\n  ", value);
  }
  std::printf("\n};\n");
}

template <class Number>
bool number(std::string_view text, Number& x) {
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), x);
  return error == std::errc{} && end == text.data() + text.size();
}

}  // namespace

int main(int argc, char** argv) try {
  Format format;
  const bool whole =
      argc == 3 && number(argv[1], format.step_ticks) && number(argv[2], format.tick_s);
  if (!whole) {
    std::fprintf(stderr, "usage: coprocessor_parameters STEP_TICKS TICK_NS, such as 250 40\n");
    return 2;
  }
  format.tick_s *= 1e-9;
  const Plant plant = plant_parameters({4, 25e-3, 150e-6, 250e-6, 25e-3, {}}, {3e-3, 0.8, 3e-3},
                                       {3.3e-3, 6e-3, 72.0, 30e-3}, format);
  AngleOutputs outputs;
  outputs.encoder_lines = 256;
  const Scale& s = plant.scale;
  const cp_angle_parameters angle = angle_parameters(outputs, 4, s);
  const cp_track_parameters track = track_parameters(angle, s, 1e-5, 10.0);
  const cp_trip_parameters trip = trip_parameters(CP_TRIP_LINK, 180.0, 1e-6, plant);
  const cp_sense_channel shunt = sense_channel({CP_SENSE_SHUNT_U, -0.02, 2.5, 5.0, 12}, s);
  const cp_piece piece_ = piece(s, {0.3, 235.0, 100.0}, 0);  // 150 Hz
  words("plant_words", &plant.parameters, sizeof plant.parameters);
  words("angle_words", &angle, sizeof angle);
  words("track_words", &track, sizeof track);
  words("trip_words", &trip, sizeof trip);
  words("shunt_words", &shunt, sizeof shunt);
  words("piece_words", &piece_, sizeof piece_);
  return 0;
} catch (const std::invalid_argument& error) {
  std::fprintf(stderr, "coprocessor_parameters: %s\n", error.what());
  return 2;
}
