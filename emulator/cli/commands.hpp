// The program's sub-commands. Each add_ function registers one with its options, help and
// examples; when the user calls it, it sets `status` to the exit status:
//   0 PASS or NONE, 1 FAIL, 2 the request is wrong, 3 INVALID, 4 host or device failed,
//   130 / 143 interrupted (record kept).
#pragma once

namespace stillrotor {

class Command;

void add_run(Command&,
             int& status);  // run BENCH SCENARIO [--out DIR] [--set path=value] [--pace wall]
void add_check(Command&, int& status);  // check BENCH [SCENARIO] [--set path=value]
void add_list(Command&,
              int& status);  // list parameters|measures|faults|backends|signals|machines ...
void add_record(Command&, int& status);    // record info DIR; record export DIR --csv ...
void add_report(Command&, int& status);    // report DIR [--out FILE]
void add_panel(Command&, int& status);     // panel DIR [--port N] [--listen ADDRESS]
void add_compare(Command&, int& status);   // compare RUN_A RUN_B | RUN --baseline FILE: 0, 1, 3
void add_baseline(Command&, int& status);  // baseline accept RUN... --out FILE
void add_host(Command&, int& status);      // host [BENCH] [--seconds S]: 0 fit, 4 unfit

}  // namespace stillrotor
