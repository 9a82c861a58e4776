// Rows of the parameter table: position sensors.
#include <fmt/format.h>

#include <array>

#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

namespace {
constexpr std::array legs{'U', 'V', 'W'};
}

std::vector<Parameter> position_sensor_parameters() {
  std::vector<Parameter> all{
      on_off("sensors.hall.fitted", AT(bench.drive.hall.fitted),
             follows("on where sensors.hall stands"), "three Hall switches on the machine"),
      real("sensors.hall.spacing", AT(bench.drive.hall.spacing_rad), Family::angle,
           between("60 deg", "120 deg"), by_default("120 deg"), "120 or 60 degrees, electrical"),
  };
  for (std::size_t k = 0; k < legs.size(); ++k)
    all.push_back(real(
        fmt::format("sensors.hall.placement_error.{}", legs[k]),
        [k](Draft& d) -> double& { return d.bench.drive.hall.placement_error_rad[k]; },
        Family::angle, between("-30 deg", "30 deg"), by_default("0 deg"),
        "electrical; positive: the line flips late"));
  all.push_back(real("sensors.hall.hysteresis", AT(bench.drive.hall.hysteresis_rad), Family::angle,
                     between("0 deg", "29 deg"), by_default("0 deg"), "full width, electrical"));
  all.push_back(real("sensors.hall.jitter", AT(bench.drive.hall.jitter_rad), Family::angle,
                     between("0 deg", "10 deg"), by_default("0 deg"),
                     "electrical; each edge lies off by up to this, either way, by the seed"));
  all.push_back(on_off("sensors.encoder.fitted", AT(bench.drive.encoder.fitted),
                       follows("on where sensors.encoder stands"), "incremental encoder A, B, Z"));
  all.push_back(whole("sensors.encoder.lines", AT(bench.drive.encoder.lines), 1, 100'000,
                      by_default("256"), "lines a turn; four counts each"));
  all.push_back(real("sensors.encoder.index", AT(bench.drive.encoder.index_rad), Family::angle,
                     between("-360 deg", "360 deg"), by_default("0 deg"),
                     "mechanical angle of the index pulse"));
  all.push_back(choice("sensors.encoder.index_width", AT(encoder_index),
                       {"quarter_line", "half_line", "full_line"}, by_default("quarter_line"),
                       "how long the index is high: one, two or four counts"));
  all.push_back(choice("sensors.encoder.direction", AT(encoder_reversed), {"forward", "reversed"},
                       by_default("forward"), "reversed: B leads A turning forward"));
  all.push_back(text("sensors.encoder.missing_lines", AT(missing_lines), "line numbers, 3, 17",
                     optional, "lines that give no pulse, counted from 0 at the angle 0"));
  return all;
}

}  // namespace stillrotor
