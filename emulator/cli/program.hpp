// What every command needs to know of the program itself, and how it says that something is wrong.
#pragma once

#include <exception>
#include <filesystem>
#include <string>
#include <string_view>

namespace stillrotor {

struct Bench;

/// Exit statuses; verdicts have theirs in commands.hpp.
inline constexpr int exit_request_wrong = 2, exit_host_failed = 4,
                     exit_interrupted = 130;  // by a person; as by SIGINT

std::string_view software_version() noexcept;  // "0.1.0"
std::string_view software_commit() noexcept;   // "1a2b3c4d5e6f", "-dirty" behind it; "unknown"

/// The folder that `${build}` names in bench files: where this program lies.
std::filesystem::path build_folder();

/// Says on stderr what went wrong and returns the exit status it deserves: wrong input (InputError,
/// io::ConfigError, std::invalid_argument) 2, anything else 4. bench: to place a ConfigError;
/// nullptr where there is none yet.
int report(const std::exception&, const Bench* bench = nullptr);

}  // namespace stillrotor
