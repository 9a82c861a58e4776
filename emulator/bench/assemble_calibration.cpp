// What was measured at the bench's lines: read, held against the lines, and the gates' skew with
// it.
#include <fmt/format.h>

#include "emulator/bench/assembly.hpp"
#include "emulator/bench/line_calibration.hpp"

namespace stillrotor {
namespace {

class CalibrationAssembler : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    if (readings_.given("controller.calibration") && readings_.at("controller.calibration").applies)
      read();
    for (std::size_t k = 0; k < io::gate_count; ++k) {
      const std::string_view name = io::name(io::LineId(static_cast<std::uint16_t>(k)));
      derive(fmt::format("cycle.gates.skew.{}", name.substr(name.size() - 2)),
             d_.bench.cycle.gates.skew_s[k], skew_s(io::LineId(static_cast<std::uint16_t>(k))));
    }
  }

 private:
  void read() {
    const Reading& row = readings_.at("controller.calibration");
    const auto file = path_of(row);
    d_.wires.calibration_file = file.string();
    try {
      LineCalibration found = read_calibration(file, file.string(), row.place);
      if (const std::string fault = mismatch(found, d_.bench.backend, d_.bench.controller);
          !fault.empty())
        problems_.add(row.place,
                      fmt::format("controller.calibration is {}, {}", file.string(), fault));
      else
        d_.bench.calibration = std::move(found);
    } catch (const InputError& error) {
      problems_.add_all(error);
    }
  }

  /// One figure a line: the mean of both directions.
  double skew_s(io::LineId gate) const {
    if (d_.bench.calibration)
      for (const LineCalibration::Skew& skew : d_.bench.calibration->skew)
        if (skew.input == gate) return 0.5 * (skew.rise_s + skew.fall_s);
    return 0.0;
  }
};

}  // namespace

void assemble_calibration(Readings& readings, Draft& draft, Problems& problems) {
  CalibrationAssembler(readings, draft, problems).assemble();
}

}  // namespace stillrotor
