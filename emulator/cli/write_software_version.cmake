# cmake -DVERSION= -DSOURCE= -DTEMPLATE= -DHEADER= -P write_software_version.cmake
find_program(GIT git)
set(COMMIT "")
if(GIT)
  execute_process(COMMAND ${GIT} describe --always --dirty --abbrev=12 --exclude=*
    WORKING_DIRECTORY ${SOURCE} OUTPUT_VARIABLE COMMIT ERROR_QUIET OUTPUT_STRIP_TRAILING_WHITESPACE)
endif()
if(COMMIT STREQUAL "")
  set(COMMIT "unknown")
endif()
configure_file(${TEMPLATE} ${HEADER} @ONLY)
