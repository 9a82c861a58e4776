// What the assemblers of a bench's sections share: what follows from what, and how to say what is
// wrong.
#pragma once

#include <fmt/format.h>

#include <algorithm>
#include <filesystem>
#include <string>
#include <string_view>

#include "emulator/bench/readings.hpp"

namespace stillrotor {

class Assembly {
 public:
  Assembly(Readings& readings, Draft& draft, Problems& problems)
      : readings_(readings), d_(draft), problems_(problems) {}

 protected:
  template <class T, class V>
  void derive(std::string_view path, T& member, V value) {
    Reading& reading = readings_.at(path);
    if (reading.state == Reading::State::given || reading.state == Reading::State::shown ||
        !reading.applies)
      return;
    member = value;
    reading.state = Reading::State::derived;
  }

  /// The file that a value names: relative to the file that holds the value; on the command line,
  /// to the current folder.
  static std::filesystem::path path_of(const Reading& reading) {
    const std::filesystem::path folder =
        reading.place.line > 0 ? std::filesystem::path(*reading.place.file).parent_path() : ".";
    return std::filesystem::absolute(folder / reading.written).lexically_normal();
  }

  void wrong(std::string_view path, std::string_view sentence) {
    problems_.add(readings_.at(path).place, sentence);
  }

  bool mentioned(const std::string& section) {
    return readings_.has_section(section) ||
           std::any_of(readings_.rows.begin(), readings_.rows.end(), [&](const Reading& row) {
             return row.state == Reading::State::given &&
                    row.parameter->path.starts_with(section + ".");
           });
  }

  void ordered(std::string_view low, double low_V, std::string_view high, double high_V) {
    if (low_V >= high_V)
      wrong(readings_.given(low) ? low : high,
            fmt::format("{} is {:g} V and {} is {:g} V; allowed only in rising order. Change one.",
                        low, low_V, high, high_V));
  }

  Readings& readings_;
  Draft& d_;
  Problems& problems_;
};

// One for each section; the order of the calls is assemble()'s.
void assemble_magnet(Readings&, Draft&, Problems&);  // before assemble_machine: a map stands in
void assemble_machine(Readings&, Draft&, Problems&);
void assemble_bridge(Readings&, Draft&, Problems&);
void assemble_supply(Readings&, Draft&, Problems&);
void assemble_load(Readings&, Draft&, Problems&);
void assemble_sensors(Readings&, Draft&, Problems&);
void assemble_controller(Readings&, Draft&, const std::filesystem::path& build_dir, Problems&);
void assemble_converters(Readings&, Draft&,
                         Problems&);  // before the harness, whose wires end there
void assemble_link(Readings&, Draft&, Problems&);
void assemble_harness(Readings&, Draft&, Problems&);
void assemble_calibration(Readings&, Draft&, Problems&);  // after the lines

}  // namespace stillrotor
