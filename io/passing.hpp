// A world that lets a controller run on behind an edge of which nothing comes.
#pragma once

#include "io/connector.hpp"

namespace stillrotor::io {

/// Beside World, where it can.
class LetsPass {
 public:
  virtual ~LetsPass() = default;
  /// A change, told in place of World::drive(), of which nothing comes that the controller would
  /// hear of within the running run(): it is taken, and the controller may go on. false: it is not,
  /// has to be driven, and run() to end with it.
  virtual bool pass(const Edge&) noexcept = 0;
};

}  // namespace stillrotor::io
