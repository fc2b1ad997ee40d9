//! What all fuzz targets share: a pack for the engine in question, and the checks that the tests make too.

use formats::{PackSet, ParseLimits, SiteContext};

#[path = "../../../crates/formats/tests/formats/survive.rs"]
mod survive;

/// A pack for one engine, in a site with tight limits, so that short inputs reach them.
pub struct Target {
    set: PackSet,
    site: SiteContext,
}

impl Target {
    /// The pack reads time `t`, speed `v` and the text `who`, wherever these stand.
    pub fn new(engine: &str, dialect: &str, [t, v, who]: [&str; 3]) -> Target {
        let folder = tempfile::tempdir().expect("a folder");
        let pack = folder.path().join("small");
        std::fs::create_dir(&pack).expect("a folder");
        let text = format!(
            "name = 'small'\nversion = '1'\nengine = '{engine}'\n[dialect]\n{dialect}\n[schema]\nfieldsMatch = 'subset'\n\
             fields = ['{t}', '{v}', '{who}']\n[time]\nparts = [{{ field = '{t}' }}]\nepochUnit = 's'\n\
             [measures]\nball_speed_mps = {{ field = '{v}', unit = 'm/s', measured = true }}\n\
             [shot]\nplayer = {{ field = '{who}' }}\n"
        );
        std::fs::write(pack.join("format.toml"), text).expect("a file");
        // Readers of packed files can panic on damaged bytes; the engines catch that and say so. The fuzzer's own hook would end the
        // run at such a panic already. One that nobody catches still ends it, at the edge of the target.
        std::panic::set_hook(Box::new(|panic| eprintln!("{panic}")));
        let (set, faults) = PackSet::load(folder.path());
        assert!(faults.is_empty(), "{faults:?}");
        let limits = ParseLimits {
            max_file_bytes: 1 << 20,
            max_line_bytes: 2_000,
            max_fields: 40,
            max_rows: 500,
            max_depth: 8,
            max_unpacked_bytes: 4 << 20,
        };
        let site = SiteContext {
            site_id: "north".to_owned(),
            zone: chrono_tz::Europe::Berlin,
            bay: None,
            environment: None,
            limits,
            hands: std::sync::Arc::default(),
        };
        Target { set, site }
    }

    /// Reads the input and checks what must hold.
    pub fn run(&self, data: &[u8]) {
        survive::survive(&self.set.packs()[0], "a", data, &self.site);
        let _ = self.set.recognise("a", data);
    }
}
