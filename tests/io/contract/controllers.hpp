// Every simulated controller that must keep the contract.
#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "io/connector.hpp"

namespace stillrotor::io::test {

struct Candidate {
  std::string name;  // letters and digits
  std::function<std::unique_ptr<SimulatedController>()> make;
  double supply_V = 5.0;
  Time longest_instruction{0};  // what it may pass a horizon by
};

std::vector<Candidate> candidates();

}  // namespace stillrotor::io::test
