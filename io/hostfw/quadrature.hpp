// A timer's quadrature counter: both edges of both lines, and the count at the index.
// RT: safe.
#pragma once

#include "io/connector.hpp"
#include "io/hostfw/stillrotor_firmware.h"

namespace stillrotor::io::hostfw {

class Quadrature {
 public:
  void reset(bool a, bool b) noexcept {
    shown_ = {};
    a_ = a;
    b_ = b;
  }
  void edge(const Edge& edge) noexcept {
    const bool high = edge.level == Level::high;
    if (edge.line == line::encoder_Z) {
      if (!high) return;
      shown_.index_count = shown_.count;
      ++shown_.index_seen;
      return;
    }
    const int before = place(a_, b_);
    if (edge.line == line::encoder_A)
      a_ = high;
    else if (edge.line == line::encoder_B)
      b_ = high;
    else
      return;
    const int step = (place(a_, b_) - before) & 3;
    if (step == 0) return;
    shown_.direction = step == 3 ? -1 : 1;  // one line moves at a time: 2 does not occur
    shown_.count += shown_.direction;
    shown_.edge_ns = edge.at.count() / 1000;
  }
  const sr_encoder& shown() const noexcept { return shown_; }

 private:
  /// In the forward order 00, 10, 11, 01.
  static constexpr int place(bool a, bool b) noexcept { return a ? (b ? 2 : 1) : (b ? 3 : 0); }

  bool a_ = false, b_ = false;
  sr_encoder shown_{};
};

}  // namespace stillrotor::io::hostfw
