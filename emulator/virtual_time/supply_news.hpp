// What the supply has done by itself since last asked, as events: contactor, protection board, and
// a bench supply's latch. Each at the plant's own moment, so it does not matter when one asks.
// RT: as safe as what takes the events.
#pragma once

#include <array>
#include <cstdint>
#include <string_view>

#include "plant/drive.hpp"

namespace stillrotor {

class SupplyNews {
 public:
  SupplyNews(const plant::DriveParameters& bench, const plant::SupplyState& start) noexcept
      : possible_(bench.contactor.fitted || bench.supply.protection.fitted ||
                  bench.supply.kind == plant::SupplyKind::bench_supply),
        closed_(start.contactor_closed) {}

  /// Of a plain supply there is none.
  bool possible() const noexcept { return possible_; }

  /// event(t_ps, name, detail) for each.
  template <class Event>
  void tell(const plant::SupplyState& now, Event event) noexcept {
    if (!possible_) return;
    if (now.contactor_closed != closed_) {
      closed_ = now.contactor_closed;
      event(now.contactor_moved_ps, closed_ ? "contactor closed" : "contactor open", "");
    }
    if (now.latched && !latched_) {
      latched_ = true;
      event(now.latched_ps, "supply latched off", "over-voltage");
    }
    if (now.protection.tripped == tripped_) return;
    for (std::size_t k = 0; k < checks.size(); ++k) {
      const unsigned bit = 1U << k;
      if (((now.protection.tripped ^ tripped_) & bit) == 0) continue;
      const bool trips = (now.protection.tripped & bit) != 0;
      event(now.protection_moved_ps, trips ? "protection tripped" : "protection reset", checks[k]);
    }
    tripped_ = now.protection.tripped;
  }

 private:
  static constexpr std::array<std::string_view, plant::ProtectionState::checks> checks{
      "over-voltage", "under-voltage", "discharge current", "charge current"};

  bool possible_;
  bool closed_, latched_ = false;
  std::uint8_t tripped_ = 0;
};

}  // namespace stillrotor
