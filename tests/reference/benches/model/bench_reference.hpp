// A bench computed a second time: CVODE moves the drive (cvode/model), and what its solution shows
// between two events feeds lines, memories and bodies.
#pragma once

#include <memory>

#include "tests/reference/benches/model/bench.hpp"
#include "tests/reference/benches/model/connector.hpp"

namespace stillrotor::reference {

/// Throws std::runtime_error where the solver fails.
Shown ask_reference(const Bench&, const std::vector<Moment>&);

}  // namespace stillrotor::reference
