// The command line as the commands see it. CLI11 does the work, in options.cpp alone: it is all in
// headers, and a file that includes them takes ten times as long to compile as one that does not.
#pragma once

#include <filesystem>
#include <functional>
#include <string>
#include <vector>

namespace CLI {
class App;
class Option;
}  // namespace CLI

namespace stillrotor {

/// One option or positional argument, until the command line is read.
class CommandOption {
 public:
  explicit CommandOption(CLI::Option* option) : option_(option) {}
  CommandOption& required();
  CommandOption& one_of(const std::vector<std::string>& words);
  CommandOption& within(double least, double most);
  CommandOption& whole_within(int least, int most);
  /// Of a list: so many at least, so many at most.
  CommandOption& expects(int least, int most);
  /// Of a list: one value each time the option is given.
  CommandOption& one_each_time();
  CommandOption& separated_by(char);
  CommandOption& excludes(const std::string& other);
  CommandOption& excludes(const CommandOption& other);
  CommandOption& needs(const CommandOption& other);

 private:
  CLI::Option* option_;
};

/// A command of the program, or the program itself. What options are read into must live until the
/// command line has been read and the command has been carried out.
class Command {
 public:
  explicit Command(CLI::App* app) : app_(app) {}

  Command add(const std::string& name, const std::string& description);
  CommandOption option(const std::string& name, std::string& to, const std::string& text);
  CommandOption option(const std::string& name, std::filesystem::path& to, const std::string& text);
  CommandOption option(const std::string& name, std::vector<std::string>& to,
                       const std::string& text);
  CommandOption option(const std::string& name, std::vector<std::filesystem::path>& to,
                       const std::string& text);
  CommandOption option(const std::string& name, double& to, const std::string& text);
  CommandOption option(const std::string& name, int& to, const std::string& text);
  CommandOption flag(const std::string& name, bool& to, const std::string& text);
  /// A group of options, of which exactly one must be given.
  Command one_of_these(const std::string& name, const std::string& description);
  /// Behind the options in --help: examples, exit statuses.
  void footer(const std::string& text);
  void needs_command();
  /// Of the options so far, and those to come: so many at least.
  void needs_options(int least);
  /// Whatever else the line says: the command refuses in its own words.
  void hears_nothing();
  void does(std::function<void()>);

 private:
  CLI::App* app_;
};

/// A whole program: `set_up` adds its commands and options; `carry_out` comes once the line has
/// been read and its command, if there are such, is done. Returns the exit status: carry_out's, or
/// that of a line that is wrong.
struct ProgramText {
  std::string description, name, version;  // version empty: no --version
};
int read_command_line(const ProgramText&, int argc, const char* const* argv,
                      const std::function<void(Command&)>& set_up,
                      const std::function<int()>& carry_out);

}  // namespace stillrotor
