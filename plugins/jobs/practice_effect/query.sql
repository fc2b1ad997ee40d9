-- Whether strike practice worked, as of the end of each week. Drill shots start the clock; only free swings are compared.
WITH counted AS (
    SELECT
        *,
        CASE WHEN strike_source IN ('measured', 'linked') THEN strike_source ELSE 'inferred' END AS source,
        CAST(local_date AS INTEGER) AS day_number,
        CAST(week AS INTEGER) AS week_number,
        dense_rank() OVER (PARTITION BY site_id ORDER BY session) AS session_number
    FROM shot_verdicts
    WHERE counted AND strike_source IS NOT NULL AND strike_toe_mm IS NOT NULL AND strike_up_mm IS NOT NULL
),
weeks AS (
    SELECT site_id, player_id, club_id, week, week_number, max(method_version) AS method_version
    FROM counted
    GROUP BY site_id, player_id, club_id, week, week_number
),
looked_at AS (
    SELECT
        counted.*,
        weeks.week AS as_of,
        weeks.method_version AS method,
        row_number() OVER (
            PARTITION BY weeks.site_id, weeks.player_id, weeks.club_id, weeks.week ORDER BY counted.struck_at DESC, counted.shot_id
        ) AS newest,
        max(CASE WHEN counted.intent = 'drill' THEN 1 ELSE 0 END) OVER (
            PARTITION BY weeks.site_id, weeks.player_id, weeks.club_id, weeks.week
        ) AS has_drill
    FROM weeks
    JOIN counted
        ON counted.site_id = weeks.site_id
        AND counted.player_id = weeks.player_id
        AND counted.club_id = weeks.club_id
        AND counted.day_number >= weeks.week_number - $look_back_days
        AND counted.day_number < weeks.week_number + 7
),
told_of AS (
    SELECT
        site_id,
        player_id,
        club_id,
        as_of,
        method,
        practice_effect(array_agg(named_struct(
            'toe_mm', strike_toe_mm,
            'up_mm', strike_up_mm,
            'toe_sd_mm', strike_toe_sd_mm,
            'up_sd_mm', strike_up_sd_mm,
            'carry_lost_m', carry_lost_to_strike_std_m,
            'session', session_number,
            'day', day_number,
            'drill', intent = 'drill',
            'source', source
        ))) AS told
    FROM looked_at
    WHERE newest <= $most_shots AND has_drill = 1
    GROUP BY site_id, player_id, club_id, as_of, method
)
SELECT
    site_id,
    player_id,
    club_id,
    as_of AS week,
    told['effect'] AS effect,
    told['why'] AS why,
    CAST(told['sessions_before'] AS BIGINT) AS sessions_before,
    CAST(told['sessions_after'] AS BIGINT) AS sessions_after,
    CAST(told['strikes_before'] AS BIGINT) AS strikes_before,
    CAST(told['strikes_after'] AS BIGINT) AS strikes_after,
    CAST(told['days_since_start'] AS BIGINT) AS days_since_start,
    told['distance_before_mm'] AS distance_before_mm,
    told['distance_gain_mm'] AS distance_gain_mm,
    told['distance_gain_low_mm'] AS distance_gain_low_mm,
    told['distance_gain_high_mm'] AS distance_gain_high_mm,
    told['probability_nearer'] AS probability_nearer,
    told['probability_nearer_lately'] AS probability_nearer_lately,
    told['probability_worthwhile'] AS probability_worthwhile,
    told['carry_gain_m'] AS carry_gain_m,
    told['carry_gain_low_m'] AS carry_gain_low_m,
    told['carry_gain_high_m'] AS carry_gain_high_m,
    method AS method_version,
    CAST(0 AS BIGINT) AS revision
FROM told_of
