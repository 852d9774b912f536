//! Orthanc, the archive of the tests: started with an empty store, asked through its own interface.

use std::path::Path;
use std::process::{Child, Command, Stdio};

use serde_json::{Value, json};

use super::peers::await_port;
use crate::support::program::free_port;

/// A running Orthanc, stopped at the end of its test.
pub(super) struct Orthanc {
    child: Child,
    pub(super) dicom: u16,
    pub(super) http: u16,
    folder: tempfile::TempDir,
}

impl Drop for Orthanc {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

impl Orthanc {
    /// Starts it; `more` is added to its settings.
    pub(super) fn start(more: &Value) -> Orthanc {
        let folder = tempfile::tempdir().unwrap();
        let (dicom, http) = (free_port(), free_port());
        let mut settings = json!({
            "Name": "archive of a test",
            "StorageDirectory": folder.path().join("store"),
            "IndexDirectory": folder.path().join("store"),
            "DicomAet": "ARCHIVE",
            "DicomPort": dicom,
            "DicomCheckCalledAet": true,
            "HttpPort": http,
            "RemoteAccessAllowed": false,
            "AuthenticationEnabled": false,
            "DicomAlwaysAllowFind": true,
            "DicomAlwaysAllowGet": true,
            "DicomAlwaysAllowMove": true,
            "Plugins": [],
        });
        for (key, value) in more.as_object().unwrap() {
            settings[key] = value.clone();
        }
        let dicom = u16::try_from(settings["DicomPort"].as_u64().unwrap()).unwrap();
        let file = folder.path().join("settings.json");
        std::fs::write(&file, serde_json::to_vec(&settings).unwrap()).unwrap();
        let log = std::fs::File::create(folder.path().join("log")).unwrap();
        // Debian puts it where only administrators look.
        let program = ["/usr/sbin/Orthanc", "Orthanc"].into_iter().find(|path| Path::new(path).exists());
        let child = Command::new(program.unwrap_or("Orthanc"))
            .arg(&file)
            .stdout(Stdio::null())
            .stderr(log)
            .spawn()
            .unwrap_or_else(|error| panic!("Orthanc: {error}; run `make setup`"));
        let orthanc = Orthanc { child, dicom, http, folder };
        await_port(http);
        await_port(dicom);
        orthanc
    }

    /// Address and port for DICOM.
    pub(super) fn to(&self) -> String {
        format!("127.0.0.1:{}", self.dicom)
    }

    /// What it wrote into its log, for a test that fails.
    pub(super) fn log(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("log")).unwrap_or_default()
    }

    fn curl(&self, path: &str, more: &[&str]) -> Vec<u8> {
        let url = format!("http://127.0.0.1:{}{path}", self.http);
        let done = Command::new("curl").args(["-sS", "--fail", &url]).args(more).output();
        let done = done.unwrap_or_else(|error| panic!("curl: {error}; run `make setup`"));
        assert!(done.status.success(), "{url}: {}\n{}", String::from_utf8_lossy(&done.stderr), self.log());
        done.stdout
    }

    pub(super) fn get(&self, path: &str) -> Value {
        serde_json::from_slice(&self.curl(path, &[])).unwrap()
    }

    pub(super) fn bytes(&self, path: &str) -> Vec<u8> {
        self.curl(path, &[])
    }

    pub(super) fn post(&self, path: &str, body: &Value) -> Value {
        serde_json::from_slice(&self.curl(path, &["-d", &body.to_string()])).unwrap()
    }

    /// The instances that it has.
    pub(super) fn instances(&self) -> Vec<String> {
        let all = self.get("/instances");
        all.as_array().unwrap().iter().map(|id| id.as_str().unwrap().to_owned()).collect()
    }
}
