#include "emulator/cli/program.hpp"

#include <fmt/core.h>

#include <stdexcept>

#include "emulator/bench/bench.hpp"
#include "emulator/bench/input_error.hpp"
#include "emulator/bench/origin.hpp"
#include "software_version.hpp"

namespace stillrotor {

std::string_view software_version() noexcept { return STILLROTOR_VERSION; }
std::string_view software_commit() noexcept { return STILLROTOR_COMMIT; }

std::filesystem::path build_folder() {
  return std::filesystem::read_symlink("/proc/self/exe").parent_path();
}

int report(const std::exception& error, const Bench* bench) {
  if (const auto* input = dynamic_cast<const InputError*>(&error)) {
    for (const std::string& message : input->messages) fmt::print(stderr, "{}\n", message);
    return exit_request_wrong;
  }
  if (const auto* config = dynamic_cast<const io::ConfigError*>(&error)) {
    const std::string where = bench != nullptr ? origin_of(*bench, config->path) + ": " : "";
    fmt::print(stderr, "{}{}: {}\n", where, config->path, config->what());
    return exit_request_wrong;
  }
  if (dynamic_cast<const std::invalid_argument*>(&error) != nullptr) {
    fmt::print(stderr, "{}{}\n", bench != nullptr ? bench->file.string() + ": " : "", error.what());
    return exit_request_wrong;
  }
  fmt::print(stderr, "{}\n", error.what());
  return exit_host_failed;
}

}  // namespace stillrotor
