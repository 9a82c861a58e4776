// Something small beside the chip on its board, tied to some of its pins.
//
// A partner knows its wires by numbers of its own, sees each change of their levels, and pulls
// them. It answers at once; what takes time is told by the time of the next change. To add one:
// docs/recipes/add-a-partner.md. RT: no partner allocates after it is made.
#pragma once

#include "io/connector.hpp"

namespace stillrotor::io::cortexm {

class Partner {
 public:
  virtual ~Partner() = default;
  virtual void seen(unsigned wire, bool high, Time) noexcept = 0;
  /// What it does to that wire now; released: nothing.
  virtual Level pulls(unsigned wire) const noexcept = 0;
  /// Its supply comes up; what it keeps without, it keeps.
  virtual void start() noexcept = 0;
};

}  // namespace stillrotor::io::cortexm
