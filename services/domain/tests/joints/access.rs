//! Who may do what, against the printed table.

use expect_test::expect_file;

#[test]
fn the_printed_table_of_roles_is_what_the_server_decides_by() {
    expect_file!["../../../../api-spec/roles.txt"].assert_eq(&domain::access::table());
}
