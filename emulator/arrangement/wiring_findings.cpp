#include "emulator/arrangement/wiring_findings.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <bit>
#include <cmath>
#include <numbers>
#include <optional>

namespace stillrotor {
namespace {

constexpr double on_from = 0.002;  // of the time; below that, it is taken for off
constexpr double always_from = 0.998;
constexpr double both_from = 0.001;
constexpr double unlike_from = 0.02;  // of the bus: legs nearer to each other are alike

constexpr std::array<std::string_view, 6> gate{"UH", "UL", "VH", "VL", "WH", "WL"};

std::string code_text(int code) {
  return fmt::format("{}{}{}", code & 1, code >> 1 & 1, code >> 2 & 1);
}

/// Mean of the leg's voltage, as a share of the bus; nothing: both switches stay off.
std::optional<double> pole(double high, double low) {
  const bool up = high > on_from, down = low > on_from;
  if (!up && !down) return std::nullopt;
  if (up != down) return up ? 1.0 : 0.0;
  return high / (high + low);
}

Commutation commutation(const HallAnswers& answers, unsigned exchanged) {
  Commutation all{};
  for (std::size_t code = 0; code < 8; ++code)
    all[code] = leg_drive(answers.codes[code], exchanged);
  return all;
}

bool drives(const LegDrive& legs) { return legs != LegDrive{}; }

class Judge {
 public:
  Judge(const HallAnswers& answers, double spacing_rad)
      : answers_(answers), spacing_rad_(spacing_rad), codes_(hall_codes(spacing_rad)) {}

  WiringFindings all() {
    if (all_on(answers_.unpowered) || all_on(answers_.idle)) {
      wrong(
          "All six gates read on while they should all be off. Are they active-low "
          "(harness.gates.active: low), or their pulls at the wrong end?");
      return std::move(found_);
    }
    on_without_supply();
    if (!answers_.drove && drives(leg_drive(answers_.idle))) {
      wrong(
          "The controller drives with the throttle shut already. Let it rest until you are asked "
          "to open it; if it rests, look at its wire.");
      return std::move(found_);
    }
    if (!answers_.drove) {
      wrong(
          "No gate changed when the throttle opened. Open it further; see that key and brake stand "
          "as the controller wants them, that it is enabled, and that its gate wires are on.");
      return std::move(found_);
    }
    stuck();
    both_on();
    if (found_.wrong.empty())
      arrange();
    else
      note("How phases and Halls are arranged cannot be told before this is mended.");
    without_position();
    return std::move(found_);
  }

 private:
  void wrong(std::string sentence) { found_.wrong.push_back(std::move(sentence)); }
  void note(std::string sentence) { found_.notes.push_back(std::move(sentence)); }

  static bool all_on(const GatesSeen& seen) {
    return std::all_of(seen.on.begin(), seen.on.end(), [](double on) { return on > always_from; });
  }

  void on_without_supply() {
    std::vector<std::string_view> on;
    for (std::size_t k = 0; k < gate.size(); ++k)
      if (answers_.unpowered.on[k] > always_from) on.push_back(gate[k]);
    if (!on.empty())
      wrong(fmt::format(
          "{} {} on while the controller has no supply: inverted or stuck. Look for an inverting "
          "shifter (write inverted: on at that line), a missing pull-down, a short to the supply.",
          fmt::join(on, ", "), on.size() == 1 ? "reads" : "read"));
  }

  void stuck() {
    for (std::size_t k = 0; k < gate.size(); ++k) {
      double least = 1.0, most = 0.0;
      for (const int code : codes_) {
        const double on = answers_.codes[static_cast<std::size_t>(code)].on[k];
        least = std::min(least, on);
        most = std::max(most, on);
      }
      if (most < on_from)
        wrong(fmt::format(
            "{} is never on, whatever the Halls say. Its wire is open or shorted to ground, or the "
            "controller does not use it (controller.gate_wires).",
            gate[k]));
      else if (least > always_from)
        wrong(
            fmt::format("{} is always on. Its wire is shorted to the supply, or open with a "
                        "pull-up.",
                        gate[k]));
    }
  }

  void both_on() {
    for (std::size_t leg = 0; leg < 3; ++leg) {
      double most = 0.0;
      for (const int code : codes_)
        most = std::max(most, answers_.codes[static_cast<std::size_t>(code)].both[leg]);
      if (most > both_from)
        wrong(fmt::format(
            "{} and {} are on at once for up to {:.1f} % of the time: behind a stage that is a "
            "short circuit. One of them is inverted or on another's wire.",
            gate[2 * leg], gate[2 * leg + 1], 100.0 * most));
    }
  }

  bool sensible(const Commutation& table, const std::array<Arrangement, 36>& all) const {
    const bool each = std::all_of(codes_.begin(), codes_.end(), [&table](int code) {
      return drives(table[static_cast<std::size_t>(code)]);
    });
    const bool at_120 = std::abs(spacing_rad_ - 2.0 * std::numbers::pi / 3.0) < 1e-6;
    return each && (at_120 ? like_six_steps(all) : !of_kind(all, Turning::forward).empty());
  }

  /// As it is, or with one leg's switches exchanged.
  void arrange() {
    for (const unsigned exchanged : {0U, 1U, 2U, 4U}) {
      const Commutation table = commutation(answers_, exchanged);
      const auto all = arrangements(table, spacing_rad_);
      if (!sensible(table, all)) continue;
      found_.arranged = true;
      found_.all = all;
      if (exchanged != 0) {
        const auto leg = static_cast<std::size_t>(std::countr_zero(exchanged));
        wrong(
            fmt::format("{0} and {1} are swapped: only so the six answers make sense. Exchange "
                        "the two wires; what follows is of the exchanged ones.",
                        gate[2 * leg], gate[2 * leg + 1]));
      }
      return say_arrangement();
    }
    no_sense();
  }

  void no_sense() {
    std::vector<std::string> silent;
    for (const int code : codes_)
      if (!drives(leg_drive(answers_.codes[static_cast<std::size_t>(code)])))
        silent.push_back(code_text(code));
    if (!silent.empty())
      wrong(fmt::format(
          "Hall code {} (U V W) drives no current through the machine. A Hall wire does not "
          "arrive, "
          "the Halls' spacing is another (sensors.hall.spacing), or the controller has stopped: it "
          "may watch for a rotor that does not turn.",
          fmt::join(silent, ", ")));
    else
      wrong(
          "The six codes are answered, but by no table of six steps: two gate wires of different "
          "legs are swapped, a Hall wire does not arrive, or the controller does not commutate by "
          "Halls.");
  }

  void say_arrangement() {
    const Arrangement& now = found_.all[0];
    const auto fits = of_kind(found_.all, Turning::forward);
    const std::string remedy = fits.empty() ? "" : " To drive forward: " + moves(fits[0]) + ".";
    switch (now.turning) {
      case Turning::forward:
        return;
      case Turning::reverse:
        return wrong(
            "It drives backwards, at full torque. If reverse was not asked for, phases and "
            "Halls are both turned round." +
            remedy);
      case Turning::half:
        return wrong(
            fmt::format("It drives {} at half the torque, which swings between {:.0f} and "
                        "{:.0f} % of the full one.{}",
                        now.mean > 0.0 ? "forward" : "backwards", 100.0 * now.least,
                        100.0 * now.greatest, remedy));
      case Turning::none:
      case Turning::odd:
        return wrong(
            fmt::format("It drives nowhere: {:.0f} % of the torque in the mean, swinging "
                        "between {:.0f} and {:.0f} %.{}",
                        100.0 * now.mean, 100.0 * now.least, 100.0 * now.greatest, remedy));
    }
  }

  void without_position() {
    for (const int code : codes_without_position(spacing_rad_))
      if (drives(leg_drive(answers_.codes[static_cast<std::size_t>(code)])))
        note(
            fmt::format("Hall code {} (U V W), which no position gives, is driven all the same: a "
                        "broken Hall wire would not stop this controller.",
                        code_text(code)));
  }

  const HallAnswers& answers_;
  const double spacing_rad_;
  const std::array<int, 6> codes_;
  WiringFindings found_;
};

}  // namespace

LegDrive leg_drive(const GatesSeen& seen, unsigned exchanged) {
  std::array<std::optional<double>, 3> poles;
  double sum = 0.0, least = 1.0, most = 0.0;
  int driven = 0;
  for (std::size_t leg = 0; leg < 3; ++leg) {
    const double a = seen.on[2 * leg], b = seen.on[2 * leg + 1];
    poles[leg] = (exchanged >> leg & 1U) != 0 ? pole(b, a) : pole(a, b);
    if (!poles[leg]) continue;
    ++driven;
    sum += *poles[leg];
    least = std::min(least, *poles[leg]);
    most = std::max(most, *poles[leg]);
  }
  LegDrive legs{};
  if (driven < 2 || most - least < unlike_from) return legs;
  double largest = 0.0;
  for (std::size_t leg = 0; leg < 3; ++leg) {
    if (poles[leg]) legs[leg] = *poles[leg] - sum / driven;
    largest = std::max(largest, std::abs(legs[leg]));
  }
  for (double& leg : legs) leg /= largest;
  return legs;
}

WiringFindings wiring_findings(const HallAnswers& answers, double hall_spacing_rad) {
  return Judge(answers, hall_spacing_rad).all();
}

}  // namespace stillrotor
