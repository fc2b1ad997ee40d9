//! Words at large that headers are made of, in English, German, French, Spanish, Italian, Dutch and Swedish, and what they speak of.
//! The words are those of the trade and of the dictionary; no device's header is listed here.
//!
//! A stem of four letters or more is found anywhere in a word, since German and its neighbours write compounds in one; a shorter
//! one must be the whole word.

/// What a word in a header speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
#[repr(u8)]
pub(super) enum Concept {
    Ball,
    Club,
    Speed,
    Launch,
    Vertical,
    Horizontal,
    Angle,
    Spin,
    Rate,
    Back,
    Side,
    Axis,
    Attack,
    Path,
    Face,
    Loft,
    Carry,
    Distance,
    Total,
    Off,
    Lateral,
    Peak,
    Descent,
    Land,
    Flight,
    Duration,
    Strike,
    Toe,
    Heel,
    High,
    Low,
    Temperature,
    Pressure,
    Humidity,
    Wind,
    Along,
    Across,
    Air,
    Aim,
    Ratio,
    Deviation,
    Date,
    Time,
    Player,
    Number,
    Shot,
    Session,
    Bay,
    Intent,
    Hand,
    Environment,
    Kind,
    Left,
    Right,
    Down,
    Coach,
    LetterT,
    LetterP,
    LetterV,
    Static,
    Against,
    From,
}

use Concept::{
    Across, Against, Aim, Air, Along, Angle, Attack, Axis, Back, Ball, Bay, Carry, Club, Coach, Date, Descent,
    Deviation, Distance, Down, Duration, Environment, Face, Flight, From, Hand, Heel, High, Horizontal, Humidity,
    Intent, Kind, Land, Lateral, Launch, Left, LetterP, LetterT, LetterV, Loft, Low, Number, Off, Path, Peak, Player,
    Pressure, Rate, Ratio, Right, Session, Shot, Side, Speed, Spin, Static, Strike, Temperature, Time, Toe, Total,
    Vertical, Wind,
};

/// Stems without accents, in small letters (ä, ö, ü, ß are written a, o, u, ss).
const STEMS: &[(Concept, &str)] = &[
    (Ball, "ball balle bola pelota palla bal boll"),
    (
        Club,
        "canne stick redskap kop huvud club head schlager schlaeger keule kopf tete palo bastone implement tool klubb klubba stok",
    ),
    (
        Speed,
        "rapidez allure speed velocity velo vel pace geschw tempo vitesse velocidad velocita hastighet snelheid fart",
    ),
    (Launch, "launch abflug start takeoff depart salida lancio lancement lanzamiento lancering"),
    (
        Vertical,
        "subida montee pente climb klim stijging lyft uppat vertical vertikal verticale vert elevation rise up hohenwinkel steig hauteur steg",
    ),
    (
        Horizontal,
        "rumbo cap bearing koers horizontal horiz orizzontale direction direccion direzione richtung azimut azimuth line ligne \
        riktning richting out",
    ),
    (Angle, "angle winkel angulo angolo hoek vinkel"),
    (Spin, "giro varv toeren whirl spin drall rotation rotacion rotazione turn efecto effet effetto rpm"),
    (Rate, "rate drehzahl tasa taux"),
    (Back, "atras arriere back ruck retro"),
    (Side, "side seite seiten cote lado lato zijde"),
    (Axis, "penche helling axis tilt lean achse kippung neigung axe eje asse inclinaison inclinacion lutning"),
    (Attack, "attack aoa angriff eintreff attaque ataque attacco aanval anfall"),
    (Path, "baan bana path bahn sweep chemin trayectoria traiettoria swing schwung"),
    (Face, "face schlagflache blatt cara faccia blad"),
    (Loft, "loft"),
    (Carry, "kast reach carry weite flugweite landed portee "),
    (Distance, "ver weit largo longueur distance dist distanz entfernung lange distancia distanza afstand avstand"),
    (Total, "total gesamt totale totaal rest roll rollout overall endlage"),
    (Off, "off"),
    (
        Lateral,
        "opzij avvikelse afwijking lateral offline offset versatz ablage seitlich abweichung ecart desvio scarto dispersion",
    ),
    (Peak, "top apex peak gipfel scheitel height hohe hoehe altura altezza hoogte hojd"),
    (Descent, "descent einfall abstieg descente descenso discesa fallwinkel"),
    (Land, "chute land landing landung aterrizaje atterrissage atterraggio"),
    (Flight, "vuelo volo vlucht aloft flight flug hang airtime flyg"),
    (Duration, "duration dauer zeit time duree duracion durata tid tijd"),
    (Strike, "treff strike impact contact treff kontakt contacto impatto frappe impacto raakpunt traff"),
    (Toe, "toe spitze pointe punta"),
    (Heel, "hal halen heel ferse talon tacon tallone hiel"),
    (High, "high hoch haut alto crown krone hoog"),
    (Low, "low tief bas bajo basso sole laag"),
    (Temperature, "chaleur varme warmth warme calor caldo temp temperatur temperature"),
    (Pressure, "druk tryck pressure druck pression presion pressione baro"),
    (Humidity, "damp humid feuchte feuchtigkeit humedad umidita fukt rh vocht"),
    (Wind, "breeze wind viento vento vent"),
    (Along, "along tail ruckenwind langs"),
    (Across, "across cross seitenwind quer"),
    (Air, "lucht weather wetter air luft aire aria"),
    (Aim, "aim ausrichtung visee punteria mira"),
    (Ratio, "ratio smash effizienz efficiency quotient verhaltnis"),
    (Deviation, "deviation stddev sigma sd uncertainty unsicherheit streuung"),
    (Date, "date datum tag day fecha data jour dag"),
    (
        Time,
        "cuando klock time zeit uhrzeit zeitpunkt clock uhr stamp heure hora ora tijd tid moment epoch at when utc \
        timestamp",
    ),
    (
        Player,
        "quien wie namn nom nombre player golfer spieler name who joueur jugador giocatore speler spelare member mitglied pupil \
        schuler student athlete",
    ),
    (Number, "orden rang ordre number num no nr nummer lfd index idx id numero count seq n"),
    (Shot, "shot schlag stroke coup golpe colpo slag swing"),
    (Session, "session sitzung sesion sessione sessie seance lesson stunde"),
    (Bay, "baan sala bas bay halle hall box lane station platz cabina kabine bucht room raum studio mat"),
    (
        Intent,
        "motivo doel avsikt sake intent purpose absicht zweck mode modus drill practice ubung but intencion scopo",
    ),
    (Hand, "hand handed handedness main mano dexterity"),
    (Environment, "environment umgebung indoor outdoor location"),
    (Kind, "kind type typ art model modell sorte marke"),
    (Left, "left links gauche izquierda sinistra vanster"),
    (Right, "right rechts droite derecha destra"),
    (Down, "down ab abwarts"),
    (Coach, "coach trainer lehrer instructor teacher operator"),
    (LetterT, "t"),
    (LetterP, "p"),
    (LetterV, "v"),
    (Static, "static statisch nominal lie"),
    (Against, "against head headwind gegenwind"),
    (From, "from von de van fran"),
];

/// What a header speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct Concepts(u64);

impl Concepts {
    /// The concepts of a header or path.
    pub fn of(header: &str) -> Concepts {
        let mut found = Concepts::default();
        for word in words_of(header) {
            // Of two stems in one word that overlap, the longer one is meant: "offline" is no "line".
            let mut claimed: Vec<(usize, usize)> = Vec::new();
            let mut hits: Vec<(usize, usize, Concept)> = Vec::new();
            for (concept, stems) in STEMS {
                for stem in stems.split_ascii_whitespace() {
                    if word == stem {
                        hits.push((0, word.len(), *concept));
                    } else if stem.len() >= 4
                        && let Some(at) = word.find(stem)
                    {
                        hits.push((at, at + stem.len(), *concept));
                    }
                }
            }
            hits.sort_by_key(|(start, end, _)| std::cmp::Reverse(end - start));
            for (start, end, concept) in hits {
                let inside =
                    claimed.iter().any(|(from, to)| start < *to && *from < end && (*from, *to) != (start, end));
                if !inside {
                    claimed.push((start, end));
                    found.0 |= 1 << concept as u8;
                }
            }
        }
        found
    }

    /// Whether a concept is among them.
    pub fn has(self, concept: Concept) -> bool {
        self.0 & (1 << concept as u8) != 0
    }
}

/// Words of a header in small letters without accents; camel case, digits and signs part them.
pub(super) fn words_of(header: &str) -> Vec<String> {
    let mut words = Vec::new();
    let mut word = String::new();
    let mut before: Option<char> = None;
    for letter in header.chars() {
        let camel = before.is_some_and(char::is_lowercase) && letter.is_uppercase();
        if (!letter.is_alphabetic() || camel) && !word.is_empty() {
            words.push(std::mem::take(&mut word));
        }
        if letter.is_alphabetic() {
            for small in letter.to_lowercase() {
                word.push_str(plain(small).encode_utf8(&mut [0; 4]));
                if small == 'ß' {
                    word.push('s');
                }
            }
        }
        before = Some(letter);
    }
    if !word.is_empty() {
        words.push(word);
    }
    words
}

fn plain(letter: char) -> char {
    match letter {
        'à' | 'á' | 'â' | 'ã' | 'ä' | 'å' => 'a',
        'ç' => 'c',
        'è' | 'é' | 'ê' | 'ë' => 'e',
        'ì' | 'í' | 'î' | 'ï' => 'i',
        'ñ' => 'n',
        'ò' | 'ó' | 'ô' | 'õ' | 'ö' | 'ø' => 'o',
        'ù' | 'ú' | 'û' | 'ü' => 'u',
        'ß' => 's',
        other => other,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_parted_and_plain() {
        assert_eq!(words_of("ballSpeed_mps [m/s]"), ["ball", "speed", "mps", "m", "s"]);
        assert_eq!(words_of("Schlägerkopf-Größe"), ["schlagerkopf", "grosse"]);
        assert_eq!(words_of("12 %"), Vec::<String>::new());
    }

    #[test]
    fn compounds_are_seen_through() {
        let has = |header: &str, concepts: &[Concept]| {
            let found = Concepts::of(header);
            concepts.iter().all(|concept| found.has(*concept))
        };
        assert!(has("Ballgeschwindigkeit", &[Concept::Ball, Concept::Speed]));
        assert!(has("Keulengeschw", &[Concept::Club, Concept::Speed]));
        assert!(has("face_to_path", &[Concept::Face, Concept::Path]));
        assert!(has("Off Line", &[Concept::Off, Concept::Horizontal]));
        assert!(!has("offline", &[Concept::Horizontal]) && has("offline", &[Concept::Lateral]));
        assert!(!has("latitude", &[Concept::Bay]));
        assert!((Concept::Static as u8) < 64);
    }
}
