#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <numbers>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/nearest.hpp"
#include "emulator/scenario/condition.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/readers.hpp"

namespace stillrotor {
namespace {

constexpr double rpm = 2.0 * std::numbers::pi / 60.0, full_turn = 2.0 * std::numbers::pi;

constexpr std::array words{
    WatchedWord{"speed", Watched::speed, Family::rotational_speed, -100'000.0 * rpm,
                100'000.0 * rpm, "-100000 rpm to 100000 rpm", "mechanical, of the motor's shaft"},
    WatchedWord{"angle_e", Watched::angle_e, Family::angle, 0.0, full_turn, "0 deg to 360 deg",
                "electrical"},
    WatchedWord{"angle_m", Watched::angle_m, Family::angle, -1e6 * full_turn, 1e6 * full_turn,
                "-1e6 turns to 1e6 turns", "mechanical, turns counted on"},
    WatchedWord{"vehicle_speed", Watched::vehicle_speed, Family::speed, -100.0, 100.0,
                "-100 m/s to 100 m/s", "of the cart"},
    WatchedWord{"distance", Watched::distance, Family::length, -1e6, 1e6, "-1000 km to 1000 km",
                "driven since the start; backwards takes away from it"},
    WatchedWord{"phase_current", Watched::phase_current, Family::current, 0.0, 10'000.0,
                "0 A to 10000 A", "greatest magnitude of the three at that instant"},
    WatchedWord{"bus_voltage", Watched::bus_voltage, Family::voltage, 0.0, 2000.0, "0 V to 2000 V",
                "at the bridge"},
    WatchedWord{"bus_current", Watched::bus_current, Family::current, -10'000.0, 10'000.0,
                "-10000 A to 10000 A", "out of the supply"},
    WatchedWord{"torque", Watched::torque, Family::torque, -10'000.0, 10'000.0,
                "-10000 N m to 10000 N m", "electromagnetic"},
    WatchedWord{"temperature.winding", Watched::winding, Family::temperature, 173.15, 773.15,
                "-100 degC to 500 degC", "of the machine's windings"},
    WatchedWord{"temperature.magnet", Watched::magnet, Family::temperature, 173.15, 773.15,
                "-100 degC to 500 degC", "of the rotor: magnets or cage"},
    WatchedWord{"temperature.heatsink", Watched::heatsink, Family::temperature, 173.15, 773.15,
                "-100 degC to 500 degC", "of the power stage's heatsink"},
    WatchedWord{"temperature.junction", Watched::junction, Family::temperature, 173.15, 773.15,
                "-100 degC to 500 degC", "of the warmest leg's switches"},
    WatchedWord{"state_of_charge", Watched::state_of_charge, Family::ratio, 0.0, 1.0,
                "0 % to 100 %", "of a battery that follows its charge"},
    WatchedWord{"time since EVENT", Watched::time_since, Family::time, 0.0, 3600.0, "0 s to 3600 s",
                "since an event of the timeline first happened"},
};

constexpr std::string_view since = "time since ";

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(' ');
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(' ') - first + 1);
}

class ConditionReader {
 public:
  ConditionReader(const Fields& fields, const Bench& bench, std::int64_t lasts_ps)
      : fields_(fields), bench_(bench), lasts_ps_(lasts_ps) {}

  std::optional<Condition> read() {
    condition_.text = fields_.text("when");
    if (condition_.text.empty()) return {};
    const std::string_view all = condition_.text;
    const auto sign = all.find_first_of("<>");
    if (sign == std::string_view::npos)
      return refuse(
          fmt::format("when is \"{}\"; allowed QUANTITY > VALUE or QUANTITY < VALUE, "
                      "and \"for TIME\" behind it. Write for example when: speed > 300 "
                      "rpm for 50 ms.",
                      all));
    condition_.above = all[sign] == '>';
    const auto lasting = all.find(" for ", sign);
    const std::string value(trimmed(all.substr(sign + 1, lasting - sign - 1)));
    if (!read_quantity(trimmed(all.substr(0, sign))) || !read_bound(value) || !fits_bench())
      return {};
    if (lasting != std::string_view::npos &&
        !read_time(std::string(trimmed(all.substr(lasting + 5)))))
      return {};
    if (!read_after() || !read_by()) return {};
    return condition_;
  }

 private:
  std::nullopt_t refuse(const std::string& sentence) const {
    fields_.wrong("when", sentence);
    return std::nullopt;
  }

  bool read_quantity(std::string_view name) {
    if (name.starts_with(since)) {
      word_ = &words.back();
      event_ = trimmed(name.substr(since.size()));
    } else {
      const auto found = std::find_if(words.begin(), words.end() - 1,
                                      [&](const WatchedWord& w) { return w.name == name; });
      if (found == words.end() - 1) {
        std::vector<std::string> names;
        for (const WatchedWord& word : words) names.emplace_back(word.name);
        refuse(fmt::format("when watches \"{}\", which is no quantity.{}", name,
                           suggestion(name, names)));
        return false;
      }
      word_ = &*found;
    }
    condition_.what = word_->what;
    return true;
  }

  bool read_bound(const std::string& value) {
    const Conversion bound = to_si(value, word_->family);
    if (!bound) {
      refuse(fmt::format("when, {}: {}; allowed {}.", word_->name, bound.problem, word_->allowed));
      return false;
    }
    condition_.bound = bound.si;
    if (bound.si < word_->least || bound.si > word_->most) {
      refuse(fmt::format("when, {}: the bound is {}; allowed {}. Change it.", word_->name, value,
                         word_->allowed));
      return false;
    }
    const bool never = condition_.above ? bound.si >= word_->most : bound.si <= word_->least;
    if (never)
      refuse(fmt::format("\"{}\" can never hold: {} stays within {}. Change the bound.",
                         condition_.text, word_->name, word_->allowed));
    return !never;
  }

  bool fits_bench() const {
    const plant::DriveParameters& drive = bench_.drive;
    std::string_view needs;
    const Watched what = condition_.what;
    if ((what == Watched::vehicle_speed || what == Watched::distance) &&
        drive.shaft.cart_mass_kg <= 0.0)
      needs = "a cart (load.cart_mass)";
    if (what == Watched::state_of_charge && drive.supply.battery.open_circuit_V.empty())
      needs = "a battery that follows its charge (supply.open_circuit)";
    const bool turns = what == Watched::speed || what == Watched::angle_m ||
                       what == Watched::vehicle_speed || what == Watched::distance;
    if (turns && drive.shaft.hold == plant::Hold::locked) needs = "a rotor that turns (load.kind)";
    if (needs.empty()) return true;
    refuse(
        fmt::format("\"{}\" needs {}; the bench \"{}\" has none. Add it there, or watch "
                    "something else.",
                    condition_.text, needs, bench_.name));
    return false;
  }

  bool read_time(const std::string& written) {
    const Conversion time = to_si(written, Family::time);
    const double lasts_s =
        static_cast<double>(lasts_ps_) / 1e12;  // not times 1e-12: 3.2 s stays 3.2 s
    if (time && time.si > 0.0 && time.si < lasts_s) {
      condition_.for_ps = to_ps(time.si);
      return true;
    }
    refuse(fmt::format("when, behind \"for\": {}; allowed above 0 s, below lasts, {:g} s.",
                       time ? "the time is " + written : time.problem, lasts_s));
    return false;
  }

  bool read_after() {
    condition_.after = fields_.text("after");
    if (event_.empty()) return true;
    if (!condition_.after.empty() && condition_.after != event_) {
      fields_.wrong("after", fmt::format("after is {}, and when counts from {} already. Remove "
                                         "after.",
                                         condition_.after, event_));
      return false;
    }
    condition_.after = event_;
    return true;
  }

  bool read_by() {
    const double lasts_s =
        static_cast<double>(lasts_ps_) / 1e12;  // not times 1e-12: 3.2 s stays 3.2 s
    condition_.by_ps =
        fields_.time_ps("by", 0.0, lasts_s, fmt::format("0 s to lasts, {:g} s", lasts_s))
            .value_or(lasts_ps_);
    const std::int64_t least_ps =
        condition_.for_ps + (condition_.what == Watched::time_since ? to_ps(condition_.bound) : 0);
    if (condition_.by_ps > least_ps) return true;
    fields_.wrong(fields_.has("by") ? "by" : "when",
                  fmt::format("\"{}\" can never hold: it takes more than {:g} s, and {} comes "
                              "before. Change one of them.",
                              condition_.text, static_cast<double>(least_ps) * 1e-12,
                              fields_.has("by") ? "by" : "the end of the run"));
    return false;
  }

  const Fields& fields_;
  const Bench& bench_;
  std::int64_t lasts_ps_;
  const WatchedWord* word_ = nullptr;
  std::string event_;
  Condition condition_;
};

}  // namespace

std::span<const WatchedWord> watched_words() noexcept { return words; }

std::optional<Condition> read_condition(const Fields& fields, const Bench& bench,
                                        std::int64_t lasts_ps) {
  return ConditionReader(fields, bench, lasts_ps).read();
}

}  // namespace stillrotor
