// Read by the leak sanitizer, and by nothing else: HDF5 1.10 never frees the names of objects in a
// file that it could not close because the disk was full (some 900 bytes).
extern "C" const char* __lsan_default_suppressions() { return "leak:libhdf5_serial"; }
extern "C" const char* __lsan_default_options() { return "print_suppressions=0"; }
