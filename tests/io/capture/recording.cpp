#include "recording.hpp"

#include <unistd.h>

#include <atomic>
#include <fstream>

#include "io/capture/capture.hpp"
#include "io/capture/vcd_reader.hpp"

namespace stillrotor::io::test {

Recording::Recording(std::string_view bytes) {
  static std::atomic<int> number{0};
  path_ = std::filesystem::temp_directory_path() /
          ("stillrotor-" + std::to_string(getpid()) + "-" + std::to_string(number++) + ".vcd");
  rewrite(bytes);
}
Recording::~Recording() {
  std::error_code ignored;
  std::filesystem::remove(path_, ignored);
}
void Recording::rewrite(std::string_view bytes) const {
  std::ofstream(path_, std::ios::binary)
      .write(bytes.data(), static_cast<std::streamsize>(bytes.size()));
}
void Recording::replace(std::string_view bytes) const {
  // Cutting an old file short makes some file systems wait for the disk.
  std::filesystem::remove(path_);
  rewrite(bytes);
}

std::string header(std::string_view timescale) {
  std::string text = "$date invented $end\n$version tests $end\n$timescale ";
  text += timescale;
  text += " $end\n$scope module board $end\n";
  const char* names[] = {"gate_uh", "gate_ul", "gate_vh", "gate_vl", "gate_wh",
                         "gate_wl", "hall_u",  "hall_v",  "hall_w"};
  char id = 'A';
  for (const char* name : names)
    text += std::string("$var wire 1 ") + id++ + " " + name + " $end\n";
  return text + "$upscope $end\n$enddefinitions $end\n";
}

CaptureConfig config_for(const std::filesystem::path& path) {
  CaptureConfig config;
  config.file = path;
  const char* names[] = {"gate_uh", "gate_ul", "gate_vh", "gate_vl", "gate_wh",
                         "gate_wl", "hall_u",  "hall_v",  "hall_w"};
  for (std::size_t k = 0; k < 9; ++k) config.signals[k] = names[k];
  return config;
}

std::string refusal(const CaptureConfig& config) {
  try {
    make_capture(config);
  } catch (const ConfigError& error) {
    return error.path + " | " + error.what();
  }
  return {};
}

std::string reader_refusal(std::string_view bytes) {
  const Recording recording(bytes);
  try {
    VcdReader reader(recording.path(), "controller.file");
    for (VcdChange change; reader.next(change);) {
    }
  } catch (const ConfigError& error) {
    std::string said = error.what();
    const auto file = recording.path().string();
    return said.starts_with(file) ? said.substr(file.size()) : said;
  }
  return {};
}

void run_until(SimulatedController& controller, Time until) {
  // Edges at `until` itself come one a call; seven more calls take all six and see it rest.
  while (controller.run(until) < until) {
  }
  for (int call = 0; call < 7; ++call) controller.run(until);
}

}  // namespace stillrotor::io::test
