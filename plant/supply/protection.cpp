#include "plant/supply/protection.hpp"

#include <cmath>

namespace stillrotor::plant {
namespace {

std::int64_t to_ps(double seconds) noexcept {
  return static_cast<std::int64_t>(std::llround(seconds * 1e12));
}

}  // namespace

void sample(const ProtectionParameters& p, ProtectionState& now, std::int64_t now_ps, double pack_V,
            double current_A) noexcept {
  const bool violated[] = {pack_V > p.over_voltage.trip_V,
                           pack_V<p.under_voltage.trip_V, current_A> p.discharge.trip_A,
                           -current_A > p.charge.trip_A};
  const double delay_s[] = {p.over_voltage.delay_s, p.under_voltage.delay_s, p.discharge.delay_s,
                            p.charge.delay_s};
  const auto retried = [&](int k) {
    return p.retry_s > 0.0 && now_ps - now.since_ps[k] >= to_ps(p.retry_s);
  };
  const bool released[] = {pack_V<p.over_voltage.release_V, pack_V> p.under_voltage.release_V,
                           retried(2), retried(3)};
  for (int k = 0; k < ProtectionState::checks; ++k) {
    const auto bit = static_cast<std::uint8_t>(1U << k);
    std::int64_t& since = now.since_ps[k];
    if ((now.tripped & bit) != 0) {
      if (!released[k]) continue;
      now.tripped = static_cast<std::uint8_t>(now.tripped & ~bit);
      since = ProtectionState::never;
    } else if (!violated[k]) {
      since = ProtectionState::never;
    } else {
      if (since == ProtectionState::never) since = now_ps;
      if (now_ps - since < to_ps(delay_s[k])) continue;
      now.tripped = static_cast<std::uint8_t>(now.tripped | bit);
      since = now_ps;
    }
  }
}

}  // namespace stillrotor::plant
