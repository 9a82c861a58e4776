// The program's sub-commands. Each add_ function registers one with its options, help and
// examples; when the user calls it, it sets `status` to the exit status:
//   0 PASS or NONE, 1 FAIL, 2 the request is wrong, 3 INVALID, 4 host or device failed,
//   130 / 143 interrupted (record kept).
#pragma once

namespace CLI {
class App;
}

namespace stillrotor {

void add_run(CLI::App&,
             int& status);  // run BENCH SCENARIO [--out DIR] [--set path=value] [--pace wall]
void add_check(CLI::App&, int& status);  // check BENCH [SCENARIO] [--set path=value]
void add_list(CLI::App&,
              int& status);  // list parameters|measures|faults|backends|signals|machines ...
void add_record(CLI::App&, int& status);    // record info DIR; record export DIR --csv ...
void add_report(CLI::App&, int& status);    // report DIR [--out FILE]
void add_compare(CLI::App&, int& status);   // compare RUN_A RUN_B | RUN --baseline FILE: 0, 1, 3
void add_baseline(CLI::App&, int& status);  // baseline accept RUN... --out FILE
void add_host(CLI::App&, int& status);      // host [BENCH] [--seconds S]: 0 fit, 4 unfit

}  // namespace stillrotor
