#include "emulator/faults/catalogue.hpp"
#include "emulator/faults/options.hpp"

namespace stillrotor {
namespace {

constexpr std::array<std::string_view, 4> words{"U", "V", "W", "all"};
constexpr std::size_t all = 3;
constexpr double quarter_turn_rad = 1.5707963267948966;
constexpr FaultOption options[] = {
    {.name = "line", .words = words, .allowed = "U, V, W, all", .example = "U", .which = true},
    {.name = "angle",
     .family = Family::angle,
     .least = -quarter_turn_rad,
     .most = quarter_turn_rad,
     .allowed = "-90 deg to 90 deg",
     .example = "15 deg"}};

void set(FaultSite& site, std::size_t line, double angle_rad) noexcept {
  if (line == all)
    site.plant().set_hall_carrier_rad(angle_rad);
  else
    site.plant().set_hall_shift_rad(leg_of(line), angle_rad);
}

}  // namespace

const Fault hall_displaced{
    .name = "hall_displaced",
    .text =
        "a Hall switch, or the carrier of all three, has moved; electrical angle, late is positive",
    .options = options,
    .needs = hall_needs,
    .where = hall_where,
    .fits =
        [](const Bench& bench, const FaultSettings& s) {
          return bench.drive.hall.fitted &&
                 (s.word(0) == all ? halls_are_wired(bench, s) : hall_is_wired(bench, s));
        },
    .begin = [](FaultSite& site, const FaultSettings& s) noexcept { set(site, s.word(0), s[1]); },
    .end = [](FaultSite& site, const FaultSettings& s) noexcept { set(site, s.word(0), 0.0); }};

}  // namespace stillrotor
