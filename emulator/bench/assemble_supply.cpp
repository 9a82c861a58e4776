// From the draft to the bench: supply.
#include "emulator/bench/assembly.hpp"

namespace stillrotor {
namespace {

class SupplyAssembly : public Assembly {
 public:
  using Assembly::Assembly;

  void assemble() {
    d_.bench.drive.supply.kind =
        d_.supply_kind == 0 ? plant::SupplyKind::battery : plant::SupplyKind::bench_supply;
    if (d_.supply_kind == 0 && readings_.given("supply.current_limit") &&
        d_.bench.drive.supply.current_limit_A < unlimited_A)
      wrong("supply.current_limit",
            "supply.current_limit does not apply to a battery; allowed with kind: bench_supply. "
            "Remove it, or change the kind.");
    derive("supply.current_limit", d_.bench.drive.supply.current_limit_A, unlimited_A);
  }

 private:
  static constexpr double unlimited_A = 1e9;
};

}  // namespace

void assemble_supply(Readings& readings, Draft& draft, Problems& problems) {
  SupplyAssembly(readings, draft, problems).assemble();
}

}  // namespace stillrotor
