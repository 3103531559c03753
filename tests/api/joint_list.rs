//! The list of joints: in the order of the line, whole at any size of page.

use harness::Line;

/// Numbers on all pages of `query`, taken `limit` at a time.
async fn walked(line: &Line, query: &str, limit: usize) -> Vec<String> {
    let (mut numbers, mut cursor) = (Vec::<String>::new(), String::new());
    loop {
        let page = line.qa.gets(&format!("/joints?limit={limit}{query}{cursor}")).await.expect(200);
        let items = page["items"].as_array().unwrap().iter();
        let items: Vec<_> = items.map(|it| it["joint_number"].as_str().unwrap().into()).collect();
        assert!(items.len() <= limit, "a page holds at most {limit}");
        numbers.extend(items);
        match page["next"].as_str() {
            Some(next) => cursor = format!("&cursor={next}"),
            None => return numbers,
        }
    }
}

/// A line with two joints at each of five kilometre points, 12 m apart.
async fn line() -> Line {
    let line = Line::with_joints(5).await;
    line.adds_joints("S1", "K", 5).await;
    line
}

#[actix_web::test]
async fn pages_of_any_size_hold_each_joint_once() {
    let line = line().await;
    let whole = walked(&line, "", 50).await;
    assert_eq!(whole.len(), 10);
    let place = |number: &String| number.split_once('-').unwrap().1.to_owned();
    assert!(whole.is_sorted_by_key(place), "in the order of the line: {whole:?}");
    for limit in [1, 2, 3, 7, 10] {
        assert_eq!(walked(&line, "", limit).await, whole, "{limit} at a time");
    }
}

#[actix_web::test]
async fn a_stretch_holds_both_its_ends_on_every_page() {
    let line = line().await;
    let whole = walked(&line, "", 50).await;
    for limit in [1, 3, 50] {
        let between = walked(&line, "&kp_from=0%2B024&kp_to=0.048", limit).await;
        assert_eq!(between, whole[2..8], "24 m to 48 m, {limit} at a time");
        let beyond = walked(&line, "&kp_from=0.024001", limit).await;
        assert_eq!(beyond, whole[4..], "a millimetre after 24 m, {limit} at a time");
        let before = walked(&line, "&kp_to=0.047999", limit).await;
        assert_eq!(before, whole[..6], "a millimetre before 48 m, {limit} at a time");
    }
}

#[actix_web::test]
async fn a_filter_holds_over_pages() {
    let line = line().await;
    line.makes_ready("K-2").await;
    line.makes_ready("K-5").await;
    assert_eq!(walked(&line, "&stage=tested", 1).await, ["K-2", "K-5"]);
    assert_eq!(walked(&line, "&stage=tested&kp_from=0.025", 1).await, ["K-5"]);
    assert!(walked(&line, "&section=S2", 1).await.is_empty());
}

#[actix_web::test]
async fn a_cursor_of_another_making_is_refused() {
    let line = line().await;
    line.qa.gets("/joints?cursor=WzFd").await.problem(400, "INVALID_CURSOR");
    line.qa.gets("/joints?cursor=hello").await.problem(400, "INVALID_CURSOR");
}
