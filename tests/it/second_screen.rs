//! The second screen: what it shows, whom it lets in, and that it takes nothing.
use crate::support;

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::path::Path;
use std::process::Command;

use serde_json::{Value, json};

use crate::review_browser::looks::no_faults;
use crate::review_browser::shared::run;
use support::browser::Driver;
use support::{BUILT_IN, exam_of};
use zonecall::exam::fold::Exam;
use zonecall::exchange::network::tls::TlsFiles;
use zonecall::knowledge::progress::Progress;
use zonecall::review::{BoundSecondScreen, SecondScreenPlace};
use zonecall::session::screen_view::ScreenView;
use zonecall::session::second_screen::{SecondScreen, SecondScreenState};

fn view_of(exam: &Exam) -> ScreenView {
    let mut view = ScreenView::default();
    view.take(exam, &Progress::of(exam), &BUILT_IN.1);
    view
}

fn shown(said: &[&str], change: impl FnOnce(&mut ScreenView)) -> SecondScreenState {
    let mut view = view_of(&exam_of(said));
    change(&mut view);
    SecondScreenState::of(&view)
}

const SAID: [&str; 3] = ["left fore two bravo transverse", "save", "longitudinal"];

/// A second screen that is served, its address and its port.
fn served(place: &SecondScreenPlace) -> (SecondScreen, String, u16) {
    let bound = BoundSecondScreen::bind(place).unwrap();
    let address = bound.address();
    let second_screen = SecondScreen::at(address.clone());
    bound.serve(second_screen.clone()).unwrap();
    let port = address.split([':', '/']).nth(4).unwrap().parse().unwrap();
    (second_screen, address, port)
}

fn request(port: u16, first: &str, headers: &[String]) -> (u16, String) {
    let mut stream = TcpStream::connect(("127.0.0.1", port)).unwrap();
    let lines: String = headers.iter().map(|line| format!("{line}\r\n")).collect();
    write!(stream, "{first} HTTP/1.1\r\nConnection: close\r\nContent-Length: 0\r\n{lines}\r\n").unwrap();
    let mut answer = String::new();
    stream.read_to_string(&mut answer).unwrap();
    (answer.split(' ').nth(1).unwrap().parse().unwrap(), answer)
}

#[test]
fn it_has_what_the_terminal_shows_as_data() {
    let state = serde_json::to_value(shown(&SAID, |view| {
        view.stills = Some(2);
        view.add("12:00:01  save".to_owned());
    }))
    .unwrap();
    assert_eq!(
        (&state["label"], &state["place"]),
        (&json!("LF 2B L"), &json!("left fore, zone 2B, longitudinal"))
    );
    assert_eq!((&state["news"], &state["saves"], &state["stills"]), (&json!("saved"), &json!(1), &json!(2)));
    let view = |zone, plane| {
        let views = state["views"].as_array().unwrap();
        views.iter().find(|view| view["zone"] == zone && view["plane"] == plane).unwrap()["state"].clone()
    };
    assert_eq!(
        (view("2B", "T"), view("2B", "L"), view("1A", "T")),
        (json!("saved"), json!("called"), json!("open"))
    );
    assert_eq!(state["lines"], json!(["12:00:01  save"]));
    assert!(state["cautions"].as_str().unwrap().starts_with("Not a diagnosis"));
    let asked = shown(&SAID, |view| view.question = Some("zone 3B? (yes, no, or say it again)".to_owned()));
    assert_eq!(serde_json::to_value(asked).unwrap()["news"], "question");
    let nowhere = shown(&["zone two alpha"], |_| {});
    assert_eq!(nowhere.label, "NO LIMB");
}

#[test]
fn it_lets_in_who_has_the_token_and_has_no_route_that_writes() {
    let (second_screen, address, port) = served(&SecondScreenPlace::Here(0));
    second_screen.put(shown(&SAID, |_| {}));
    let host = format!("Host: 127.0.0.1:{port}");
    let (status, answer) = request(port, "GET /api/second-screen", std::slice::from_ref(&host));
    assert_eq!((status, answer.contains("LF 2B")), (401, false), "{answer}");
    assert!(answer.contains("`zonecall listen` printed"), "{answer}");
    let wrong = request(port, "GET /?token=0123456789abcdef", std::slice::from_ref(&host));
    assert_eq!(wrong.0, 401);
    let (status, _) = request(port, "GET /", &["Host: elsewhere.example".to_owned()]);
    assert_eq!(status, 421);
    let way = address.split_once("/?").unwrap().1;
    let (status, entered) = request(port, &format!("GET /?{way}"), std::slice::from_ref(&host));
    assert_eq!(status, 200);
    let cookie = entered.lines().find_map(|line| line.strip_prefix("set-cookie: ")).unwrap();
    let own = [host, format!("Cookie: {}", cookie.split(';').next().unwrap())];
    let (status, answer) = request(port, "GET /api/second-screen", &own);
    assert_eq!(status, 200);
    let body: Value = serde_json::from_str(answer.split("\r\n\r\n").nth(1).unwrap()).unwrap();
    assert_eq!(body["label"], "LF 2B L");
    let origin = format!("Origin: http://127.0.0.1:{port}");
    for path in ["/", "/second-screen.js", "/api/second-screen", "/api/news", "/api/change"] {
        for method in ["POST", "PUT", "DELETE", "PATCH"] {
            let own = [own.to_vec(), vec![origin.clone()]].concat();
            let (status, _) = request(port, &format!("{method} {path}"), &own);
            let wanted = if path == "/api/change" { 404 } else { 405 };
            assert_eq!(status, wanted, "{method} {path}");
        }
    }
}

/// A certificate that its own key signed, for `localhost`, as `openssl` makes it.
fn certificate(folder: &Path) {
    let made = Command::new("openssl")
        .args(["req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=localhost"])
        .args(["-addext", "subjectAltName=DNS:localhost", "-keyout", "key.pem", "-out", "cert.pem"])
        .current_dir(folder)
        .output()
        .expect("openssl is there: run `make setup`");
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
}

/// Asked by `curl`, which checks the certificate.
#[test]
fn in_the_practices_network_it_speaks_tls_only() {
    let folder = tempfile::tempdir().unwrap();
    certificate(folder.path());
    let [cert, key] = ["cert.pem", "key.pem"].map(|file| folder.path().join(file));
    let tls = TlsFiles::open_server(&cert, &key).unwrap();
    let (second_screen, address, port) =
        served(&SecondScreenPlace::At { host: "localhost".to_owned(), port: 0, tls });
    second_screen.put(shown(&SAID, |_| {}));
    let token = address.split_once("token=").unwrap().1;
    assert_eq!((address.starts_with("https://localhost:"), token.len()), (true, 16), "{address}");
    let jar = folder.path().join("cookies");
    let curl = |more: &[&str]| {
        let mut asking = Command::new("curl");
        asking.args(["-s", "-m", "20", "--cacert"]).arg(&cert).arg("-b").arg(&jar).arg("-c").arg(&jar);
        let done = asking.args(more).output().expect("curl is there");
        (done.status.success(), String::from_utf8_lossy(&done.stdout).into_owned())
    };
    let state = format!("https://localhost:{port}/api/second-screen");
    let (came, refused) = curl(&[&state]);
    assert!(came && refused.contains("printed") && !refused.contains("LF 2B"), "{refused}");
    assert!(curl(&[&address]).0);
    let (_, told) = curl(&[&state]);
    assert!(told.contains("\"label\":\"LF 2B L\""), "{told}");
    let plain = curl(&[&state.replace("https", "http")]);
    assert!(!plain.0, "without TLS nobody is answered: {}", plain.1);
}

#[test]
fn a_tablet_and_a_telephone_show_it_by_day_and_in_the_dark() {
    run(async {
        let (second_screen, address, _) = served(&SecondScreenPlace::Here(0));
        let driver = Driver::start();
        for (page, name) in [(driver.browser().await, "light"), (driver.dark().await, "dark")] {
            second_screen.put(shown(&SAID, |_| {}));
            page.open(&address).await;
            page.until("document.body.dataset.shown === 'yes'").await;
            assert_eq!(page.text("#label").await, "LF 2B L");
            assert_eq!(page.text("#news").await, "SAVED");
            for width in [390, 1024] {
                page.size(width, 800).await;
                let fits =
                    "return document.documentElement.scrollWidth <= document.documentElement.clientWidth";
                assert_eq!(page.run(fits).await, true, "{name}, {width} px wide");
                page.picture(
                    &std::env::temp_dir().join(format!("zonecall-second-screen-{name}-{width}.png")),
                )
                .await;
            }
            no_faults(&page, name).await;
            // What changes is sent, not asked for.
            let asked = "zone 3B? (yes, no, or say it again)";
            second_screen.put(shown(&["right fore one alpha transverse"], |view| {
                view.question = Some(asked.to_owned())
            }));
            page.until("document.querySelector('#label').textContent === 'RF 1A T'").await;
            assert_eq!(
                (page.text("#news").await, page.text("#words").await),
                ("YES OR NO?".to_owned(), asked.to_owned())
            );
            no_faults(&page, "a question").await;
            page.picture(&std::env::temp_dir().join(format!("zonecall-second-screen-{name}-asked.png")))
                .await;
        }
    });
}
