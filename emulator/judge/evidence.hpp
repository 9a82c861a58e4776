// What measures share of one record: each thing is taken from it once a window, whoever asks.
// Throws std::runtime_error where the record cannot be read.
#pragma once

#include <map>
#include <tuple>

#include "emulator/judge/gates.hpp"
#include "emulator/judge/statistics.hpp"

namespace stillrotor {

class Evidence {
 public:
  explicit Evidence(const RecordReader& record) : record_(record) {}

  const RecordReader& record() const noexcept { return record_; }
  const SpreadStatistics& spread(Signal signal, const Stretch& window) {
    return once(spreads_, {static_cast<int>(signal), window.from_ps, window.to_ps},
                [&] { return spread_statistics(record_, signal, window); });
  }
  const SpeedStatistics& speed(const Stretch& window) {
    return once(speeds_, {0, window.from_ps, window.to_ps},
                [&] { return speed_statistics(record_, window); });
  }
  const GateStatistics& gates(const Stretch& window) {
    return once(gates_, {0, window.from_ps, window.to_ps},
                [&] { return gate_statistics(record_, window); });
  }

 private:
  using Key = std::tuple<int, std::int64_t, std::int64_t>;  // what, from, to
  template <class T>
  using Kept = std::map<Key, T>;

  template <class T, class Make>
  static const T& once(Kept<T>& kept, const Key& key, Make&& make) {
    const auto found = kept.find(key);
    return found != kept.end() ? found->second : kept.emplace(key, make()).first->second;
  }

  const RecordReader& record_;
  Kept<SpreadStatistics> spreads_;
  Kept<SpeedStatistics> speeds_;
  Kept<GateStatistics> gates_;
};

}  // namespace stillrotor
