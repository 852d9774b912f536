//! A real browser without a window, driven by the WebDriver standard.
#![allow(dead_code, unreachable_pub, clippy::unwrap_used, clippy::expect_used)] // each binary uses its part

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Child, Command, Stdio};
use std::sync::{Condvar, Mutex};
use std::time::{Duration, Instant};

use fantoccini::actions::{InputSource, MOUSE_BUTTON_LEFT, MouseActions, PointerAction, TouchActions};
use fantoccini::elements::Element;
use fantoccini::{Client, ClientBuilder, Locator};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};

/// How long the page may take until it shows what a test waits for; long, for a machine that does much else.
const PATIENCE: Duration = Duration::from_secs(90);

/// How often a driver is started that finds no port.
const STARTS: usize = 10;

/// How often a browser is started again that did not come up.
const BROWSER_TRIES: usize = 2;

/// Places for tests with a browser. More of them at once only make each other slow, each has several processes.
static PLACES: (Mutex<usize>, Condvar) = (Mutex::new(2), Condvar::new());

/// A place that is taken until the test is done.
struct Place;

impl Place {
    fn take() -> Place {
        let mut free = PLACES.1.wait_while(PLACES.0.lock().unwrap(), |free| *free == 0).unwrap();
        *free -= 1;
        Place
    }
}

impl Drop for Place {
    fn drop(&mut self) {
        *PLACES.0.lock().unwrap() += 1;
        PLACES.1.notify_one();
    }
}

/// Debian's driver on a port of its own; it ends with the test, and its browsers with it.
pub struct Driver {
    child: Child,
    address: String,
    _place: Place,
}

impl Driver {
    pub fn start() -> Driver {
        let place = Place::take();
        // A free port of one family of addresses may be taken in the other: then it ends, and another one is tried.
        let (child, port) = (0..STARTS).find_map(|_| Self::started()).expect("the driver names its port");
        Driver { child, address: format!("http://127.0.0.1:{port}"), _place: place }
    }

    /// The driver and the port that it found; none where it ended without one.
    fn started() -> Option<(Child, String)> {
        let mut child = Command::new("chromedriver")
            .arg("--port=0")
            .stdout(Stdio::piped())
            .spawn()
            .expect("chromedriver is there: Debian's chromium-driver, see scripts/setup.sh");
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let port = lines.find_map(|line| {
            let line = line.unwrap();
            Some(line.rsplit_once("successfully on port ")?.1.trim_end_matches('.').to_owned())
        });
        let Some(port) = port else {
            drop(child.wait());
            return None;
        };
        // The rest of its output must be read, or it stands still when the pipe is full.
        std::thread::spawn(move || lines.for_each(drop));
        Some((child, port))
    }

    /// A browser of its own profile, so that two do not share a cookie.
    pub async fn browser(&self) -> Page {
        self.browser_with(json!({})).await
    }

    /// A browser that takes itself for a tablet held upright: touched by fingers, two points of the screen a pixel.
    pub async fn tablet(&self) -> Page {
        let screen = json!({"width": 768, "height": 1024, "pixelRatio": 2.0, "touch": true, "mobile": true});
        self.browser_with(json!({"deviceMetrics": screen})).await
    }

    /// A browser on a system that is set to dark.
    pub async fn dark(&self) -> Page {
        self.browser_with(json!({"dark": true})).await
    }

    async fn browser_with(&self, emulated: Value) -> Page {
        let mut options = json!({"args": ["--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage",
            "--window-size=1440,1130", "--autoplay-policy=no-user-gesture-required", "--mute-audio"]});
        if emulated.get("dark").is_some() {
            // As `mojom::blink::PreferredColorScheme` counts: 0 is dark.
            options["args"].as_array_mut().unwrap().push(json!("--blink-settings=preferredColorScheme=0"));
        }
        if emulated.get("deviceMetrics").is_some() {
            options["mobileEmulation"] = emulated;
        }
        // A script that the page goes on with, such as a checker's, is given thirty seconds by itself.
        let patience = json!({"script": PATIENCE.as_millis()});
        let wanted = json!({"goog:chromeOptions": options, "goog:loggingPrefs": {"browser": "ALL"}, "timeouts": patience});
        let Value::Object(capabilities) = wanted else { unreachable!() };
        // The driver gives a browser a minute to start; a machine that does much else may need more than one go.
        let mut tries = 0;
        loop {
            let mut asking = ClientBuilder::new(HttpConnector::new());
            match asking.capabilities(capabilities.clone()).connect(&self.address).await {
                Ok(client) => return Page(client),
                Err(error) if tries == BROWSER_TRIES => panic!("no browser starts: {error}"),
                Err(_) => tries += 1,
            }
        }
    }
}

impl Drop for Driver {
    fn drop(&mut self) {
        // Asked to shut down, the driver takes its browsers with it; killed, it would leave them.
        let port = self.address.rsplit(':').next().unwrap();
        if let Ok(mut stream) = TcpStream::connect(format!("127.0.0.1:{port}")) {
            let asked = write!(
                stream,
                "GET /shutdown HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: close\r\n\r\n"
            );
            drop(asked.and_then(|()| stream.read_to_end(&mut Vec::new())));
        }
        drop(self.child.kill());
        drop(self.child.wait());
    }
}

/// The pointer goes to a point of the window, in so many milliseconds.
fn to((x, y): (f64, f64), ms: u64) -> PointerAction {
    PointerAction::MoveTo { duration: Some(Duration::from_millis(ms)), x, y }
}

/// A page in a browser.
#[derive(Clone)]
pub struct Page(pub Client);

impl Page {
    pub async fn open(&self, address: &str) {
        self.0.goto(address).await.unwrap();
    }

    /// What a script in the page gives.
    pub async fn run(&self, script: &str) -> Value {
        self.0.execute(script, Vec::new()).await.unwrap()
    }

    /// Waits until an expression is true in the page.
    pub async fn until(&self, what: &str) {
        let began = Instant::now();
        loop {
            let value = self.0.execute(&format!("return Boolean({what})"), Vec::new()).await;
            if value.as_ref().is_ok_and(|value| *value == json!(true)) {
                return;
            }
            assert!(began.elapsed() < PATIENCE, "never came true: {what} ({value:?}); {}", self.told().await);
            tokio::time::sleep(Duration::from_millis(60)).await;
        }
    }

    /// What the page says to people now.
    pub async fn told(&self) -> String {
        let all = "return [document.querySelector('#bench')?.innerText, document.querySelector('#said')?.textContent, \
            document.querySelector('#alarm')?.textContent, document.body.innerText.slice(0, 300)].join(' / ')";
        self.run(all).await.to_string()
    }

    pub async fn find(&self, css: &str) -> Element {
        self.0.find(Locator::Css(css)).await.unwrap_or_else(|error| panic!("{css}: {error}"))
    }

    pub async fn click(&self, css: &str) {
        // The line through time lies over the lower part of the window: a person scrolls, too.
        let found = self.find(css).await;
        self.run(&format!("document.querySelector({css:?}).scrollIntoView({{block: 'center'}})")).await;
        found.click().await.unwrap_or_else(|error| panic!("{css}: {error}"));
    }

    /// Opens something by a click and a key, and waits until it is there.
    pub async fn go(&self, click: &str, key: &str, there: &str) {
        self.click(click).await;
        self.press(key).await;
        self.until(&format!("document.querySelector({there:?})")).await;
    }

    /// Gives the page this much room, whatever the window itself needs around it.
    pub async fn size(&self, width: u32, height: u32) {
        self.0.set_window_size(width, height).await.unwrap();
        let inner = self.run("return [innerWidth, innerHeight]").await;
        let more =
            |wanted: u32, idx: usize| 2 * wanted - u32::try_from(inner[idx].as_u64().unwrap()).unwrap();
        self.0.set_window_size(more(width, 0), more(height, 1)).await.unwrap();
        self.until(&format!("innerWidth === {width} && innerHeight === {height}")).await;
    }

    /// Presses the mouse at the first point, moves it over the others with the button held, and lets go; points in
    /// pixels of the window.
    pub async fn drag(&self, points: &[(f64, f64)]) {
        let mut mouse = MouseActions::new("mouse".to_owned())
            .then(to(points[0], 0))
            .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT });
        for point in &points[1..] {
            mouse = mouse.then(to(*point, 20));
        }
        self.0.perform_actions(mouse.then(PointerAction::Up { button: MOUSE_BUTTON_LEFT })).await.unwrap();
    }

    /// Draws with one finger from the first point over the others; a single point is a tap.
    pub async fn finger(&self, points: &[(f64, f64)]) {
        let mut finger = TouchActions::new("finger".to_owned())
            .then(to(points[0], 0))
            .then(PointerAction::Down { button: MOUSE_BUTTON_LEFT });
        for point in &points[1..] {
            finger = finger.then(to(*point, 20));
        }
        self.0.perform_actions(finger.then(PointerAction::Up { button: MOUSE_BUTTON_LEFT })).await.unwrap();
    }

    /// Taps on the middle of something, after bringing it into view.
    pub async fn tap(&self, css: &str) {
        let middle = format!(
            "const one = document.querySelector({css:?}); one.scrollIntoView({{ block: 'center' }});
            const box = one.getBoundingClientRect(); return [box.left + box.width / 2, box.top + box.height / 2]"
        );
        self.find(css).await;
        let [x, y]: [f64; 2] = serde_json::from_value(self.run(&middle).await).unwrap();
        self.finger(&[(x.round(), y.round())]).await;
    }

    /// Presses keys where the focus is.
    pub async fn press(&self, keys: &str) {
        self.0.active_element().await.unwrap().send_keys(keys).await.unwrap();
    }

    pub async fn text(&self, css: &str) -> String {
        self.find(css).await.text().await.unwrap()
    }

    /// Saves what the window shows, for people: where somebody else's picture lies under that name, it stays.
    pub async fn picture(&self, path: &std::path::Path) {
        drop(std::fs::write(path, self.0.screenshot().await.unwrap()));
    }
}
