// From the draft to the bench: load. Its kind and coupling decide what else can be said of it.
#include <array>

#include "emulator/bench/assembly.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {
namespace {

enum LoadKind : int { cart, fan, pump, constant_torque, constant_power, dynamometer, locked };
enum CouplingWord : int { rigid, freewheel, elastic, slipping };

/// Where the word of a choice must stand for a row to mean something.
struct Belongs {
  std::string_view path;  // of a row, or with a dot at the end of a section
  std::string_view choice;
  std::array<int, 2> words;
};
constexpr Belongs belongs[] = {
    {"load.quadratic_drag", "load.kind", {fan, pump}},
    {"load.static_torque", "load.kind", {pump, pump}},
    {"load.torque", "load.kind", {constant_torque, constant_torque}},
    {"load.power", "load.kind", {constant_power, constant_power}},
    {"load.power_floor", "load.kind", {constant_power, constant_power}},
    {"load.cart_mass", "load.kind", {cart, cart}},
    {"load.wheel_radius", "load.kind", {cart, cart}},
    {"load.rolling_resistance", "load.kind", {cart, cart}},
    {"load.drag_area", "load.kind", {cart, cart}},
    {"load.air_density", "load.kind", {cart, cart}},
    {"load.pedals.", "load.kind", {cart, cart}},
    {"load.dynamometer.", "load.kind", {dynamometer, dynamometer}},
    {"load.spring.", "load.coupling", {elastic, elastic}},
    {"load.tyre.", "load.coupling", {slipping, slipping}},
};

class LoadAssembly : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    plant::ShaftParameters& shaft = d_.bench.drive.shaft;
    shaft.coupling = static_cast<plant::Coupling>(d_.coupling);
    if (d_.load_kind == dynamometer) shaft.hold = plant::Hold::start_speed;
    if (d_.load_kind == locked) shaft.hold = plant::Hold::locked;
    for (const Belongs& rule : belongs) keep(rule);
    due("load.quadratic_drag", {fan, pump});
    due("load.torque", {constant_torque, constant_torque});
    due("load.power", {constant_power, constant_power});
    if (d_.coupling == slipping && shaft.cart_mass_kg <= 0.0)
      wrong("load.coupling",
            "load.coupling is slipping, but there is no cart to move; allowed with kind: cart and "
            "a cart_mass. Give the mass, or change the coupling.");
  }

 private:
  static std::string word(std::string_view choice, int index) {
    return std::get<Choice>(find_parameter(choice)->binding).words[static_cast<std::size_t>(index)];
  }

  void keep(const Belongs& rule) {
    const int now = rule.choice == "load.kind" ? d_.load_kind : d_.coupling;
    const auto [one, other] = rule.words;
    if (now == one || now == other) return;
    for (Reading& row : readings_.rows) {
      const std::string& path = row.parameter->path;
      if (rule.path.ends_with('.') ? !path.starts_with(rule.path) : path != rule.path) continue;
      if (row.state == Reading::State::given)
        problems_.add(
            row.place,
            fmt::format(
                "{} does not apply with {}: {}; allowed with {}{}. Remove it, or change {}.", path,
                rule.choice, word(rule.choice, now), word(rule.choice, one),
                one == other ? "" : " and " + word(rule.choice, other), rule.choice));
      row.applies = false;
    }
  }

  void due(std::string_view path, std::array<int, 2> kinds) {
    if (d_.load_kind != kinds[0] && d_.load_kind != kinds[1]) return;
    Reading& row = readings_.at(path);
    if (row.state == Reading::State::absent)
      problems_.add(row.place,
                    fmt::format("{} is missing with load.kind: {}; allowed {}. What it is: {}.",
                                path, word("load.kind", d_.load_kind), allowed(*row.parameter),
                                row.parameter->text));
  }
};

}  // namespace

void assemble_load(Readings& readings, Draft& draft, Problems& problems) {
  LoadAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
