# Which archive is taken for which flags; cmake -DFLAGS=... -DSYSTEM=... -P
set(CMAKE_C_FLAGS "${FLAGS}")
set(CMAKE_SYSTEM_NAME ${SYSTEM})
set(CMAKE_SYSTEM_PROCESSOR "${PROCESSOR}")
include(${CMAKE_CURRENT_LIST_DIR}/../../cmake/glidepath-processor.cmake)
glidepath_processor(name)
message("${name}")
