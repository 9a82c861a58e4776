#include "emulator/cli/options.hpp"

#include <CLI/CLI.hpp>
#include <utility>

#include "emulator/cli/program.hpp"

namespace stillrotor {

CommandOption& CommandOption::required() {
  option_->required();
  return *this;
}
CommandOption& CommandOption::one_of(const std::vector<std::string>& words) {
  option_->check(CLI::IsMember(words));
  return *this;
}
CommandOption& CommandOption::within(double least, double most) {
  option_->check(CLI::Range(least, most));
  return *this;
}
CommandOption& CommandOption::whole_within(int least, int most) {
  option_->check(CLI::Range(least, most));
  return *this;
}
CommandOption& CommandOption::expects(int least, int most) {
  option_->expected(least, most);
  return *this;
}
CommandOption& CommandOption::one_each_time() {
  option_->allow_extra_args(false);
  return *this;
}
CommandOption& CommandOption::separated_by(char separator) {
  option_->delimiter(separator);
  return *this;
}
CommandOption& CommandOption::excludes(const std::string& other) {
  option_->excludes(other);
  return *this;
}
CommandOption& CommandOption::excludes(const CommandOption& other) {
  option_->excludes(other.option_);
  return *this;
}
CommandOption& CommandOption::needs(const CommandOption& other) {
  option_->needs(other.option_);
  return *this;
}

Command Command::add(const std::string& name, const std::string& description) {
  return Command(app_->add_subcommand(name, description));
}
CommandOption Command::option(const std::string& name, std::string& to, const std::string& text) {
  return CommandOption(app_->add_option(name, to, text));
}
CommandOption Command::option(const std::string& name, std::filesystem::path& to,
                              const std::string& text) {
  return CommandOption(app_->add_option(name, to, text));
}
CommandOption Command::option(const std::string& name, std::vector<std::string>& to,
                              const std::string& text) {
  return CommandOption(app_->add_option(name, to, text));
}
CommandOption Command::option(const std::string& name, std::vector<std::filesystem::path>& to,
                              const std::string& text) {
  return CommandOption(app_->add_option(name, to, text));
}
CommandOption Command::option(const std::string& name, double& to, const std::string& text) {
  return CommandOption(app_->add_option(name, to, text));
}
CommandOption Command::option(const std::string& name, int& to, const std::string& text) {
  return CommandOption(app_->add_option(name, to, text));
}
CommandOption Command::flag(const std::string& name, bool& to, const std::string& text) {
  return CommandOption(app_->add_flag(name, to, text));
}
Command Command::one_of_these(const std::string& name, const std::string& description) {
  CLI::App* group = app_->add_option_group(name, description);
  group->require_option(1);
  return Command(group);
}
void Command::footer(const std::string& text) { app_->footer(text); }
void Command::needs_command() { app_->require_subcommand(1); }
void Command::needs_options(int least) { app_->require_option(least, 0); }
void Command::hears_nothing() { app_->allow_extras(); }
void Command::does(std::function<void()> what) { app_->callback(std::move(what)); }

int read_command_line(const ProgramText& text, int argc, const char* const* argv,
                      const std::function<void(Command&)>& set_up,
                      const std::function<int()>& carry_out) {
  CLI::App app{text.description, text.name};
  if (!text.version.empty()) app.set_version_flag("--version", text.version);
  Command program(&app);
  set_up(program);
  try {
    app.parse(argc, argv);
  } catch (const CLI::ParseError& error) {
    return app.exit(error) == 0 ? 0 : exit_request_wrong;
  } catch (const std::exception& error) {
    return report(error);
  }
  return carry_out();
}

}  // namespace stillrotor
