-- A job stopped by a failed check is not planned until somebody decides, so plans rest on what is decided.
call plans_rest_on('quality_hold');
