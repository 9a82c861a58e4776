#include <algorithm>
#include <filesystem>

#include "io/gpiod/library.hpp"

namespace stillrotor::io::gpiod {

std::vector<std::string> chip_devices() {
  std::vector<std::string> found;
  std::error_code none;
  for (const auto& entry : std::filesystem::directory_iterator("/dev", none))
    if (const std::string name = entry.path().filename(); name.starts_with("gpiochip"))
      found.push_back(entry.path());
  std::sort(found.begin(), found.end(), [](const std::string& a, const std::string& b) {
    return a.size() != b.size() ? a.size() < b.size() : a < b;
  });
  return found;
}

}  // namespace stillrotor::io::gpiod
