// A run's folder: everything that a run leaves behind, under its final name from the start.
#pragma once

#include <filesystem>
#include <string>
#include <string_view>

namespace stillrotor {

/// runs/<UTC time>-<bench>-<scenario>, from the files' names; made new, never one that exists.
/// Throws std::runtime_error.
std::filesystem::path new_run_folder(const std::filesystem::path& bench_file,
                                     const std::filesystem::path& scenario_file);

/// A folder that the user asks for: it must be empty or absent. Throws InputError if it holds
/// anything, std::runtime_error if it cannot be made.
void make_run_folder(const std::filesystem::path& folder);

/// Whole or not at all: written beside, then renamed. Throws std::runtime_error.
void write_file(const std::filesystem::path& file, std::string_view text);

std::string utc_now(const char* format);  // strftime

/// SHA-256 of a file, hexadecimal. Throws std::runtime_error.
std::string file_sha256(const std::filesystem::path& file);
std::string text_sha256(std::string_view);

}  // namespace stillrotor
