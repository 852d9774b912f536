//! What people and other systems get: the report and the exports.
